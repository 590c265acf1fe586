"""The small numbers that stand for names in the file: of series, and of the marks on readings."""

import sqlite3

from brineward.journal import bodies
from brineward.journal.trouble import UnreadableRow

_MARKS_REMEMBERED = 10_000  # a sensor that invents marks must not eat the memory


class Names:
    """Numbers and names of one connection, remembered."""

    def __init__(self, db: sqlite3.Connection) -> None:
        self._db = db
        self.series_ids: dict[tuple[str, str], int] = {}
        """The numbers of series that are known already, by depot and name."""
        self._series_names: dict[int, tuple[str, str]] = {}
        self._mark_ids: dict[bodies.Mark, int] = {bodies.PLAIN: 0}
        self._marks: dict[int, bodies.Mark] = {0: bodies.PLAIN}

    def forget(self) -> None:
        """Numbers given in a transaction that was undone are no longer anybody's."""
        self.series_ids.clear()
        self._series_names.clear()
        self._forget_marks()

    def _forget_marks(self) -> None:
        self._mark_ids = {bodies.PLAIN: 0}
        self._marks = {0: bodies.PLAIN}

    def series_id(self, depot: str, name: str) -> int:
        """The number of a series, given now where it has none; inside a write transaction."""
        found = self.find_series(depot, name)
        if found is None:
            insert = "INSERT INTO series (depot, name) VALUES (?, ?)"
            found = int(self._db.execute(insert, (depot, name)).lastrowid or 0)
        self.series_ids[depot, name] = found
        return found

    def find_series(self, depot: str, name: str) -> int | None:
        """The number of a series; None where it has none."""
        found = self.series_ids.get((depot, name))
        if found is None:
            row = self._db.execute(
                "SELECT id FROM series WHERE depot = ? AND name = ?", (depot, name)
            ).fetchone()
            found = None if row is None else int(row[0])
        return found

    def series_of(self, depot: str) -> list[tuple[int, str]]:
        """The series of a depot with their names, by name."""
        select = "SELECT id, name FROM series WHERE depot = ? ORDER BY name"
        return self._db.execute(select, (depot,)).fetchall()

    def series_name(self, series: int) -> tuple[str, str]:
        """The depot and the name of a series. Raises: UnreadableRow where no series has it."""
        name = self._series_names.get(series)
        if name is None:
            row = self._db.execute("SELECT depot, name FROM series WHERE id = ?", (series,))
            name = row.fetchone()
            if name is None:
                raise UnreadableRow(f"no series has the number {series}")
            self._series_names[series] = name
        return name

    def mark_id(self, mark: bodies.Mark) -> int:
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

    def mark(self, number: int) -> bodies.Mark:
        """The mark of a number. Raises: UnreadableRow where it is none, or can't be read."""
        mark = self._marks.get(number)
        if mark is None:
            row = self._db.execute("SELECT body FROM mark WHERE id = ?", (number,)).fetchone()
            if row is None:
                raise UnreadableRow(f"no mark has the number {number}")
            if len(self._marks) > _MARKS_REMEMBERED:
                self._forget_marks()
            mark = self._marks[number] = bodies.mark_from(row[0])
        return mark
