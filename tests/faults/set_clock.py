"""`brineward` by a clock that a test sets: it shows what the file CLOCK_AHEAD_FILE adds, in ms."""

import os
import sys
from pathlib import Path

from brineward.clock import MachineClock
from brineward.commands.main import main

_shown = MachineClock.now
_file = Path(os.environ["CLOCK_AHEAD_FILE"])


def _set(self: MachineClock) -> int:
    return _shown(self) + int(_file.read_text() or 0)


MachineClock.now = _set  # type: ignore[method-assign]
sys.exit(main(sys.argv[1:]))
