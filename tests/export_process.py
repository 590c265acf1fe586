"""The export's follower as a program of its own, to be killed: `export_process.py CONFIG`."""

import sys
import threading
from pathlib import Path

from brineward.clock import MachineClock
from brineward.config.load import load_settings
from brineward.followers import cursor
from brineward.service import exporting

if __name__ == "__main__":
    cursor.FIRST_WAIT_SECONDS, cursor.LONGEST_WAIT_SECONDS = 0.05, 0.2
    cursor.LONGEST_SLEEP_SECONDS = 0.02
    exporting.ENTRIES = 400  # type: ignore[misc]  # many batches, so that a kill falls into one
    exporting.Exporting(load_settings(Path(sys.argv[1])), MachineClock()).start()
    threading.Event().wait()
