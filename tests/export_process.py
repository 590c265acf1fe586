"""The export's follower as a program of its own, to be killed: `export_process.py CONFIG
[SECONDS]`, with so many seconds held back.
"""

import sys
import threading
from pathlib import Path

from brineward.clock import MachineClock
from brineward.config.load import load_settings
from brineward.followers import cursor, held_back
from brineward.service import exporting

if __name__ == "__main__":
    cursor.FIRST_WAIT_SECONDS, cursor.LONGEST_WAIT_SECONDS = 0.05, 0.2
    cursor.LONGEST_SLEEP_SECONDS = 0.02
    exporting.ENTRIES = 400  # type: ignore[misc]  # many batches, so that a kill falls into one
    if len(sys.argv) > 2:
        held_back.HELD_BACK_SECONDS = float(sys.argv[2])  # type: ignore[misc]  # shorter here
    exporting.Exporting(load_settings(Path(sys.argv[1])), MachineClock()).start()
    threading.Event().wait()
