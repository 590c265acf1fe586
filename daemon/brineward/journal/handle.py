"""A handle on the file: one connection, one thread, short transactions."""

import sqlite3
from collections.abc import Iterator
from contextlib import contextmanager
from pathlib import Path

from brineward.journal import bodies
from brineward.journal.opening import ServiceLock
from brineward.journal.trouble import watched

_MARKS_REMEMBERED = 10_000  # a sensor that invents marks must not eat the memory


class Handle:
    """The connection, and the small numbers that stand for names in it."""

    def __init__(self, path: Path, db: sqlite3.Connection, lock: ServiceLock | None) -> None:
        self.path = path
        self._db = db
        self._lock = lock
        self._series_ids: dict[tuple[str, str], int] = {}
        self._series_names: dict[int, tuple[str, str]] = {}
        self._mark_ids: dict[bodies.Mark, int] = {bodies.PLAIN: 0}
        self._marks: dict[int, bodies.Mark] = {0: bodies.PLAIN}

    def close(self) -> None:
        """Close the connection and give up the service's lock; may be called twice."""
        with watched(self.path):
            self._db.close()
        if self._lock is not None:
            self._lock.release()

    @contextmanager
    def _writing(self) -> Iterator[sqlite3.Connection]:
        """One write transaction: all of it or nothing. Raises: DiskTrouble, JournalUnusable."""
        with watched(self.path):
            self._db.execute("BEGIN IMMEDIATE")
            try:
                yield self._db
                self._db.execute("COMMIT")
            except BaseException:
                # Disk full has already rolled back; a second ROLLBACK would raise.
                if self._db.in_transaction:
                    self._db.execute("ROLLBACK")
                self._forget_numbers()
                raise

    @contextmanager
    def _reading(self) -> Iterator[sqlite3.Connection]:
        """One short look at one moment of the file. Raises: DiskTrouble, JournalUnusable."""
        with watched(self.path):
            self._db.execute("BEGIN")
            try:
                yield self._db
            finally:
                if self._db.in_transaction:
                    self._db.execute("COMMIT")

    def _forget_numbers(self) -> None:
        """Numbers given in a transaction that was undone are no longer anybody's."""
        self._series_ids.clear()
        self._series_names.clear()
        self._forget_marks()

    def _forget_marks(self) -> None:
        self._mark_ids = {bodies.PLAIN: 0}
        self._marks = {0: bodies.PLAIN}

    def _new_series_id(self, depot: str, name: str) -> int:
        """The number of a series, given now where it has none; inside a write transaction."""
        found = self._find_series(depot, name)
        if found is None:
            insert = "INSERT INTO series (depot, name) VALUES (?, ?)"
            found = int(self._db.execute(insert, (depot, name)).lastrowid or 0)
        self._series_ids[depot, name] = found
        return found

    def _find_series(self, depot: str, name: str) -> int | None:
        found = self._series_ids.get((depot, name))
        if found is None:
            row = self._db.execute(
                "SELECT id FROM series WHERE depot = ? AND name = ?", (depot, name)
            ).fetchone()
            found = None if row is None else int(row[0])
        return found

    def _series_name(self, series: int) -> tuple[str, str]:
        """The depot and the name of a series."""
        name = self._series_names.get(series)
        if name is None:
            row = self._db.execute("SELECT depot, name FROM series WHERE id = ?", (series,))
            name = self._series_names[series] = row.fetchone()
        return name

    def _mark_id(self, mark: bodies.Mark) -> int:
        """The number of a mark, given now where it has none; inside a write transaction."""
        found = self._mark_ids.get(mark)
        if found is not None:
            return found
        body = bodies.mark_body(mark)
        row = self._db.execute("SELECT id FROM mark WHERE body = ?", (body,)).fetchone()
        if row is None:
            row = (self._db.execute("INSERT INTO mark (body) VALUES (?)", (body,)).lastrowid,)
        if len(self._mark_ids) > _MARKS_REMEMBERED:
            self._forget_marks()
        self._mark_ids[mark] = number = int(row[0])
        return number

    def _mark(self, number: int) -> bodies.Mark:
        mark = self._marks.get(number)
        if mark is None:
            row = self._db.execute("SELECT body FROM mark WHERE id = ?", (number,)).fetchone()
            if len(self._marks) > _MARKS_REMEMBERED:
                self._forget_marks()
            mark = self._marks[number] = bodies.mark_from(row[0])
        return mark
