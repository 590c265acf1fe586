"""What can go wrong: the disk, a file that can't be used, a row that can't be read."""

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
    sqlite3.SQLITE_PERM: "the file may not be opened; look at its owner and its permissions",
    sqlite3.SQLITE_BUSY: "another program has held the file for too long; find and stop that one",
    sqlite3.SQLITE_LOCKED: "another part of this program holds the file; try again",
}
DATABASE_ERRORS = (sqlite3.DatabaseError, UnicodeDecodeError)
"""What a look into a file may raise; the second where SQLite's own message about damaged tables
quotes bytes that are no text, which Python's module can't decode."""

_PRIMARY = 0xFF  # the low byte of an extended result code is its primary code


class DiskTrouble(Exception):
    """The disk refused: full, unreadable, held. Nothing of the batch was kept; try it again."""

    def __init__(self, sentence: str, *, full: bool = False) -> None:
        super().__init__(sentence)
        self.full = full
        """The disk has no room: the same handle works again once there is some."""


class JournalUnusable(Exception):
    """The file is no journal, a newer one, a damaged one, or already in use by a service."""


class JournalDamaged(JournalUnusable):
    """The file is a journal of ours, and some of its pages can't be read any more."""


class JournalReplaced(JournalUnusable):
    """The file behind this handle no longer has its name: deleted, replaced or cut short.

    What was committed last may be in a file that nobody will find again: acknowledge nothing, close
    the handle and open the journal again.
    """


class UnreadableRow(ValueError):
    """One row holds what no version of ours has written there; it costs itself alone."""


@contextmanager
def watched(path: Path) -> Iterator[None]:
    """Turn SQLite's own errors about this file into ours.

    Raises: DiskTrouble, JournalDamaged. A mistake in our own SQL is raised unchanged.
    """
    try:
        yield
    except DATABASE_ERRORS as error:
        primary = primary_code(error)
        if is_damage(error):
            raise JournalDamaged(
                f"{path} is damaged ({error}); restart the service: it rescues what can be read "
                "and sets the damaged file aside"
            ) from error
        if primary is None or primary not in _SENTENCES:
            raise
        raise DiskTrouble(
            f"{path}: {_SENTENCES[primary]} ({error})", full=primary == sqlite3.SQLITE_FULL
        ) from error


def primary_code(error: BaseException) -> int | None:
    """SQLite's primary result code of an error; None where it has none."""
    code = getattr(error, "sqlite_errorcode", None)
    return None if code is None else int(code) & _PRIMARY


def is_damage(error: BaseException) -> bool:
    """Does this error say that pages of the file can't be read?"""
    return primary_code(error) in _DAMAGED or isinstance(error, UnicodeDecodeError)
