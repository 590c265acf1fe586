"""What can go wrong with the file: one error for the disk, one for a file that can't be used."""

import sqlite3
from collections.abc import Iterator
from contextlib import contextmanager
from pathlib import Path

_DAMAGED = frozenset({sqlite3.SQLITE_CORRUPT, sqlite3.SQLITE_NOTADB})
_SENTENCES = {
    sqlite3.SQLITE_FULL: "the disk is full; make room, nothing that was committed is lost",
    sqlite3.SQLITE_IOERR: "the disk could not be read or written; look at the disk and its cable",
    sqlite3.SQLITE_READONLY: "the file may not be written; look at its owner and its permissions",
    sqlite3.SQLITE_CANTOPEN: "the file can't be opened; look at its folder and its permissions",
    sqlite3.SQLITE_BUSY: "another program has held the file for too long; find and stop that one",
    sqlite3.SQLITE_LOCKED: "another part of this program holds the file; try again",
}
_PRIMARY = 0xFF  # the low byte of an extended result code is its primary code


class DiskTrouble(Exception):
    """The disk refused: full, unreadable, held. Nothing of the batch was kept; try it again."""

    def __init__(self, sentence: str, *, full: bool = False) -> None:
        super().__init__(sentence)
        self.full = full
        """The disk has no room: the same handle works again once there is some."""


class JournalUnusable(Exception):
    """The file is no journal, a newer one, a damaged one, or already in use by a service."""


@contextmanager
def watched(path: Path) -> Iterator[None]:
    """Turn SQLite's own errors about this file into ours.

    Raises: DiskTrouble, JournalUnusable. A mistake in our own SQL stays what it is.
    """
    try:
        yield
    except sqlite3.DatabaseError as error:
        code = getattr(error, "sqlite_errorcode", None)
        primary = None if code is None else code & _PRIMARY
        if primary in _DAMAGED:
            raise JournalUnusable(
                f"{path} is damaged or no journal ({error}); set it aside and put back a copy"
            ) from error
        if primary not in _SENTENCES:
            raise
        raise DiskTrouble(
            f"{path}: {_SENTENCES[primary]} ({error})", full=primary == sqlite3.SQLITE_FULL
        ) from error
