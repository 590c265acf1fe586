"""Rows a second of `brineward export`, and its memory, for a journal of so many readings.

    python tests/bench/export.py [readings]

Makes the journal with made-up readings of the standard depot's sensors, then exports all of it in
each form as a program of its own. Prints, asserts nothing.
"""

import resource
import subprocess
import sys
import tempfile
import time
from pathlib import Path

sys.path.insert(0, str(Path(__file__).parents[1]))

from brineward.journal import Journal
from brineward.readings.outputs import Step
from brineward.readings.values import Reading
from reports.made import settings_with

START = 1_767_225_600_000
BATCH = 20_000


def main(count: int) -> None:
    """Fill, export, print."""
    with tempfile.TemporaryDirectory() as name:
        folder = Path(name)
        settings = settings_with(folder / "a.journal", folder)
        sensors = list(settings.depots["tern-hollow"].sensors)
        with Journal.open(settings.journal.path) as journal:
            for first in range(0, count, BATCH):
                journal.commit(
                    [
                        Step(
                            Reading(
                                "tern-hollow", sensors[n % len(sensors)], START + n * 700,
                                2.0 + n % 1000 / 1000, START + n * 700 + 40,
                            ),
                            (),
                        )
                        for n in range(first, min(first + BATCH, count))
                    ]
                )  # fmt: skip
        for form in ("csv", "parquet", "senml"):
            command = [sys.executable, "-m", "brineward", "export", str(settings.file)]
            span = ["--since", "2025-12-31", "--until", "2027-01-01"]
            began = time.perf_counter()
            out = folder / f"a.{form}"
            subprocess.run([*command, "-o", str(out), *span], check=True, capture_output=True)
            took = time.perf_counter() - began
            peak = resource.getrusage(resource.RUSAGE_CHILDREN).ru_maxrss / 1024
            print(f"{form}: {count:,} readings in {took:.1f} s, {count / took:,.0f}/s, "
                  f"at most {peak:.0f} MB so far")  # fmt: skip


if __name__ == "__main__":
    main(int(sys.argv[1]) if len(sys.argv) > 1 else 2_000_000)
