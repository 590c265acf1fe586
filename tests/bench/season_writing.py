"""How fast `brinesim write` writes a season: 180 days, 14 sensors each 10 s.

    python tests/bench/season_writing.py

Prints readings, seconds, microseconds a reading and the most memory used. No assertion: speed
belongs to the machine.
"""

import resource
import sys
import tempfile
import time
from pathlib import Path

from brinesim.scenario import load_scenario
from brinesim.simulation import Simulation
from brinesim.writing import write_files

EVERY_TEN_SECONDS = {
    "sensors": {"hopper-salt": {"every": "10 s"}, "outdoor-temperature": {"every": "10 s"}}
}


def main() -> None:
    """Write the season into a temporary directory and print what it took."""
    with tempfile.TemporaryDirectory() as folder:
        target = Path(folder) / "season.csv"
        began = time.perf_counter()
        simulation = Simulation(load_scenario("season", EVERY_TEN_SECONDS))
        count = write_files(simulation, target, progress=sys.stderr.isatty())
        seconds = time.perf_counter() - began
        size = target.stat().st_size
    memory = resource.getrusage(resource.RUSAGE_SELF).ru_maxrss / 1024
    print(f"{count} readings, {size / 1e9:.2f} GB in {seconds:.0f} s: ", end="")
    print(f"{seconds / count * 1e6:.2f} us a reading, {memory:.0f} MB at most")


if __name__ == "__main__":
    main()
