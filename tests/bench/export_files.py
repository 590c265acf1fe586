"""How fast `brineward export` writes a long series to a file, and in how much memory.

    python tests/bench/export_files.py [READINGS]

Prints readings a second and the most memory used, by form. No assertion.
"""

import subprocess
import sys
import tempfile
import time
from pathlib import Path

from brineward.config.load import load_settings
from brineward.journal import Journal
from export_kills import fill
from services import write_config

_RUN = """
import resource, sys
from brineward.commands.main import main
main(sys.argv[1:])
used = resource.getrusage(resource.RUSAGE_SELF)
print(used.ru_maxrss // 1024, "MB,", round(used.ru_utime + used.ru_stime, 1), "s of CPU")
"""


def main() -> None:
    """Fill a journal and export it, each form in a process of its own."""
    count = int(sys.argv[1]) if len(sys.argv) > 1 else 2_000_000
    with tempfile.TemporaryDirectory() as folder:
        config = write_config(Path(folder), 1883)
        with Journal.open(load_settings(config).journal.path) as journal:
            for start in range(0, count, 20_000):
                fill(journal, start, 20_000)
        for form in ("csv", "parquet", "senml"):
            command = ["export", str(config), "-o", f"{folder}/out.{form}", "--since", "2025-12-01"]
            began = time.perf_counter()
            done = subprocess.run(
                [sys.executable, "-c", _RUN, *command, "--until", "2030-01-01"],
                capture_output=True, text=True, check=True,
            )  # fmt: skip
            seconds = time.perf_counter() - began
            said = f"{done.stderr.strip()}, {count / seconds:,.0f} a second"
            print(f"{form}: {said}, {done.stdout.strip()}")


if __name__ == "__main__":
    main()
