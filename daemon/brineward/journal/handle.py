"""A handle on the file: one connection, one thread, short transactions."""

import sqlite3
from collections import Counter
from collections.abc import Callable, Iterable, Iterator
from contextlib import contextmanager
from pathlib import Path
from typing import TypeVar

from brineward.journal.names import Names
from brineward.journal.opening import IN_MEMORY, ServiceLock, suspect
from brineward.journal.same_file import SameFile
from brineward.journal.trouble import JournalDamaged, UnreadableRow, watched

_Row = TypeVar("_Row")
_Value = TypeVar("_Value")

Connection = sqlite3.Connection
"""What a look hands out, for those who must not import the database themselves."""


class Handle:
    """The connection that the parts of the journal share."""

    def __init__(
        self, path: Path, db: sqlite3.Connection, lock: ServiceLock | None, *, read_only: bool
    ) -> None:
        self.path = path
        self.read_only = read_only
        self.names = Names(db)
        self.unreadable: Counter[str] = Counter()
        """Rows that were passed over since opening because they can't be read, by table."""
        self._db = db
        self._lock = lock
        self._file = None if read_only or path == IN_MEMORY else SameFile(path)

    def close(self) -> None:
        """Close the connection and give up the service's lock; may be called twice."""
        with watched(self.path):
            self._db.close()
        if self._lock is not None:
            self._lock.release()

    @contextmanager
    def writing(self) -> Iterator[sqlite3.Connection]:
        """One write transaction: all of it or nothing.

        Raises: DiskTrouble; JournalDamaged; JournalReplaced where it may have gone into a file
        that nobody will find again.
        """
        with self._watched():
            if self._file is not None:
                self._file.check()
            self._db.execute("BEGIN IMMEDIATE")
            try:
                yield self._db
                self._db.execute("COMMIT")
            except BaseException:
                # Disk full has already rolled back; a second ROLLBACK would raise.
                if self._db.in_transaction:
                    self._db.execute("ROLLBACK")
                self.names.forget()
                raise
            if self._file is not None:
                self._file.check()

    @contextmanager
    def reading(self) -> Iterator[sqlite3.Connection]:
        """One short read of one state of the file. Raises: DiskTrouble, JournalDamaged."""
        with self._watched():
            self._db.execute("BEGIN")
            try:
                yield self._db
            finally:
                if self._db.in_transaction:
                    self._db.execute("COMMIT")

    @contextmanager
    def alone(self) -> Iterator[sqlite3.Connection]:
        """The connection outside of any transaction, for what SQLite does only there."""
        with self._watched():
            yield self._db

    @contextmanager
    def _watched(self) -> Iterator[None]:
        try:
            with watched(self.path):
                yield
        except JournalDamaged:
            suspect(self.path)
            raise

    def readable(
        self, table: str, rows: Iterable[_Row], made: Callable[[_Row], _Value]
    ) -> Iterator[_Value]:
        """What is made of each row; one that can't be read is passed over and counted."""
        for row in rows:
            try:
                value = made(row)
            except UnreadableRow:
                self.unreadable[table] += 1
            else:
                yield value
