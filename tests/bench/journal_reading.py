"""What reading back, checking, copying and thinning cost on a large journal. Run it by hand.

python tests/bench/journal_reading.py [DAYS [FOLDER]]
"""

import sys
import tempfile
import time
from collections.abc import Callable
from pathlib import Path

from brineward.journal import Journal
from brineward.readings.instants import DAY, HOUR, SECOND
from brineward.readings.outputs import Step
from brineward.readings.values import Reading
from brineward.records import Records

SENSORS = 14
EVERY = 10 * SECOND
T0 = 1_767_225_600_000


def fill(journal: Journal, days: int) -> int:
    """So many days of a depot whose sensors report every ten seconds; how many readings."""
    steps: list[Step] = []
    count = 0
    for instant in range(T0, T0 + days * DAY, EVERY):
        for sensor in range(SENSORS):
            value = instant % 3_600_000 * 1e-6 + sensor
            one = Reading("tern-hollow", f"sensor-{sensor}", instant, value, instant + 37)
            steps.append(Step(one, ()))
        if len(steps) >= 500:
            journal.commit(steps, states={"tern-hollow": b"state"})
            count += len(steps)
            steps.clear()
    journal.commit(steps, states={"tern-hollow": b"state"})
    return count + len(steps)


def timed(what: str, work: Callable[[], object]) -> object:
    """Do it and print how long it took."""
    began = time.perf_counter()
    done = work()
    print(f"{what:42} {(time.perf_counter() - began) * 1000:10.1f} ms")
    return done


def main() -> None:
    """Print how long each takes."""
    days = int(sys.argv[1]) if len(sys.argv) > 1 else 30
    parent = sys.argv[2] if len(sys.argv) > 2 else None
    with tempfile.TemporaryDirectory(dir=parent) as name:
        path = Path(name) / "a.journal"
        end = T0 + days * DAY
        with Journal.open(path) as journal:
            began = time.perf_counter()
            count = fill(journal, days)
            took = time.perf_counter() - began
            journal.room.checkpoint()
            size = path.stat().st_size
            print(
                f"{count:,} readings, {count / took:,.0f} a second, {size / count:.1f} bytes each"
            )
            series = ("tern-hollow", "sensor-3")
            records = Records(journal.handle)
            timed("newest of every sensor", lambda: records.readings.latest("tern-hollow"))
            timed("a day of one sensor", lambda: records.readings.between(*series, end - DAY, end))
            timed(
                "a week by the hour",
                lambda: records.readings.buckets(*series, end - 7 * DAY, end, 3600.0),
            )
            timed("all by the day", lambda: records.readings.buckets(*series, T0, end, 86_400.0))
            timed("a share of the check", lambda: journal.checking.check_share(3, 720))
            timed("resuming with no tail", lambda: journal.resuming.resume(["tern-hollow"]))
            last = journal.ordering.last_seq()
            timed(
                "replaying the last 100,000 entries",
                lambda: sum(1 for _ in journal.ordering.entries(last - 100_000)),
            )
            timed("a checked copy", lambda: journal.copying.backup(Path(name) / "copy"))
            kept = days * 86_400.0
            print(timed("an hour too old", lambda: journal.thinning.thin(end + HOUR, kept)))
            print(timed("10 MB of the oldest", lambda: journal.thinning.thin_oldest(10_000_000)))
        timed("opening with the check", lambda: Journal.open(path, check=True).close())


if __name__ == "__main__":
    main()
