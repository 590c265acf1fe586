"""What a commit of 500 readings costs, beside a bare batched insert. Run it by hand.

python tests/bench/journal_commit.py [FOLDER]
"""

import sqlite3
import sys
import tempfile
import time
from pathlib import Path

from brineward.journal import Journal
from brineward.readings.outputs import Derived, Step
from brineward.readings.values import Reading

BATCH, BATCHES, SENSORS = 500, 200, 14
T0 = 1_767_225_600_000
BARE = "CREATE TABLE r (series INT, time INT, value REAL, PRIMARY KEY (series, time)) WITHOUT ROWID"


def readings(batch: int) -> list[Reading]:
    """One batch of a depot's readings, ten seconds apart."""
    numbers = range(batch * BATCH, (batch + 1) * BATCH)
    return [
        Reading(
            "tern-hollow",
            f"sensor-{n % SENSORS}",
            T0 + n // SENSORS * 10_000,
            n * 0.001,
            T0 + n // SENSORS * 10_000 + 37,
        )
        for n in numbers
    ]


def bare(folder: Path, batches: list[list[Reading]]) -> float:
    """Seconds for the plainest durable insert of the same readings."""
    db = sqlite3.connect(folder / "bare.db", isolation_level=None)
    db.execute("PRAGMA journal_mode = WAL")
    db.execute("PRAGMA synchronous = FULL")
    db.execute(BARE)
    began = time.perf_counter()
    for batch in batches:
        db.execute("BEGIN IMMEDIATE")
        db.executemany(
            "INSERT OR IGNORE INTO r VALUES (?, ?, ?)",
            [(int(one.sensor[7:]), one.time, one.value) for one in batch],
        )
        db.execute("COMMIT")
    took = time.perf_counter() - began
    db.execute("PRAGMA wal_checkpoint(TRUNCATE)")
    db.close()
    return took


def ours(path: Path, batches: list[list[Step]]) -> float:
    """Seconds for the journal's own commits."""
    with Journal.open(path, service=True) as journal:
        journal.commit(())
        began = time.perf_counter()
        for steps in batches:
            journal.commit(steps)
        return time.perf_counter() - began


def with_derived(one: Reading) -> tuple[Derived, ...]:
    """A derived value on every fourteenth reading: one a sweep of the depot's sensors."""
    if one.sensor != "sensor-0":
        return ()
    value = one.value or 0.0
    return tuple(
        Derived(time=one.time, depot=one.depot, name=name, value=value, standard_uncertainty=0.01)
        for name in ("strength", "freezing-point")
    )


def main() -> None:
    """Print rows a second and bytes a reading."""
    parent = sys.argv[1] if len(sys.argv) > 1 else None
    rows = BATCH * BATCHES
    batches = [readings(batch) for batch in range(BATCHES)]
    for _ in range(3):
        with tempfile.TemporaryDirectory(dir=parent) as name:
            folder = Path(name)
            plain = [[Step(one, ()) for one in batch] for batch in batches]
            derived = [[Step(one, with_derived(one)) for one in batch] for batch in batches]
            report = {
                "bare insert": (bare(folder, batches), folder / "bare.db"),
                "journal, readings": (ours(folder / "a", plain), folder / "a"),
                "journal, the same again": (ours(folder / "a", plain), folder / "a"),
                "journal, 1 in 7 derived": (ours(folder / "b", derived), folder / "b"),
            }
            for what, (took, path) in report.items():
                size = path.stat().st_size / rows
                print(
                    f"{what:26} {rows / took:9,.0f} rows/s {took / rows * 1e6:6.2f} us a reading"
                    f" {size:6.1f} bytes a reading"
                )
            print()


if __name__ == "__main__":
    main()
