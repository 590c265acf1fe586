"""Readings a second that `brineward replay` plays, on a simulated night.

    python tests/bench/replay.py [rounds] [scenario]

The whole command, its start included, and the same without. Prints, asserts nothing.
"""

import re
import subprocess
import sys
import tempfile
import time
from pathlib import Path
from statistics import median

CONFIG = Path(__file__).parents[2] / "config" / "tern-hollow.toml"


def seconds_of(command: list[str]) -> tuple[float, str]:
    """How long a command takes, and what it printed."""
    began = time.perf_counter()
    seen = subprocess.run(command, check=True, capture_output=True, text=True)
    return time.perf_counter() - began, seen.stdout


def main(rounds: int, scenario: str) -> None:
    """Write the night, play it, print."""
    with tempfile.TemporaryDirectory() as name:
        night, empty = Path(name) / "night.csv", Path(name) / "empty.csv"
        write = [sys.executable, "-m", "brinesim.commands.main", "write", scenario]
        subprocess.run([*write, "-o", str(night), "--quiet"], check=True, capture_output=True)
        empty.write_text(night.read_text().split("\n", 1)[0] + "\n")
        replay = [sys.executable, "-m", "brineward", "replay", str(CONFIG)]
        start = median(seconds_of([*replay, str(empty)])[0] for _ in range(3))
        whole = []
        for _ in range(rounds):
            seconds, printed = seconds_of([*replay, str(night)])
            whole.append(seconds)
        (readings,) = re.findall(r"([\d,]+) readings replayed", printed)
        count = int(readings.replace(",", ""))
        took = median(whole)
        print(
            f"{scenario}: {count:,} readings in {took:.2f} s, {start:.2f} s of it the start:"
            f" {count / (took - start):,.0f} readings/s, {count / took:,.0f} with the start"
        )


if __name__ == "__main__":
    arguments = sys.argv[1:] + ["3", "winter-night"][len(sys.argv) - 1 :]
    main(int(arguments[0]), arguments[1])
