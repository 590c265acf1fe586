"""Is the file behind a handle still the one with its name?

A file that is deleted or replaced while a program has it open lives on without a name: everything
written to it disappears with the program. SQLite itself doesn't notice (How To Corrupt An SQLite
Database File, section 2.4, https://www.sqlite.org/howtocorrupt.html).
"""

import os
from pathlib import Path

from brineward.journal.trouble import JournalReplaced

_Identity = tuple[int, int]


class SameFile:
    """Remembers which file was opened, and how long it has been seen to be."""

    def __init__(self, path: Path) -> None:
        self._path = path
        self._wal = path.with_name(path.name + "-wal")
        found = _look(path)
        self._file = None if found is None else found[0]
        self._size = 0 if found is None else found[1]
        """The journal is never made shorter: freed pages are written to again."""
        self._log: _Identity | None = None
        self.remember()

    def remember(self) -> None:
        """Take note of the write-ahead file: it is there from the first transaction on."""
        found = _look(self._wal)
        if found is not None and self._log is None:
            self._log = found[0]

    def check(self) -> None:
        """Look again; a couple of microseconds. Raises: JournalReplaced."""
        if self._file is None:
            return  # a journal in memory, or opened to be read only
        found = _look(self._path)
        if found is None:
            raise JournalReplaced(f"{self._path} was deleted while it was in use; {_CONSEQUENCE}")
        if found[0] != self._file:
            raise JournalReplaced(
                f"{self._path} was replaced by another file while it was in use; {_CONSEQUENCE}"
            )
        if found[1] < self._size:
            raise JournalReplaced(
                f"{self._path} was cut short while it was in use, from {self._size:,} to "
                f"{found[1]:,} bytes; {_CONSEQUENCE}"
            )
        self._size = found[1]
        if self._log is None:
            self.remember()
            return
        log = _look(self._wal)
        if log is None or log[0] != self._log:
            raise JournalReplaced(
                f"{self._wal} was deleted or replaced while it was in use; {_CONSEQUENCE}"
            )


_CONSEQUENCE = "what came last may not be kept; it is asked for again from the broker"


def _look(path: Path) -> tuple[_Identity, int] | None:
    try:
        state = os.stat(path)  # noqa: PTH116 - on the way of every commit: Path.stat takes twice as long
    except FileNotFoundError:
        return None
    return (state.st_dev, state.st_ino), state.st_size
