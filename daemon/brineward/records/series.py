"""A derived value over any length of time, exact, read in short reads and in bounded memory."""

from collections.abc import Iterator
from typing import Any, Final, Literal

from brineward.journal.handle import Handle
from brineward.journal.names import Names
from brineward.readings.instants import Instant

ROWS: Final = 20_000
"""How many rows are read at once, so that a long export never pins the write-ahead file."""

# Of several conclusions for one instant the last counts.
_DERIVED: Final = """SELECT time, value, uncertainty, low_95, high_95, calibrated, max(place)
    FROM derived WHERE series = ? AND time >= ? AND time < ? GROUP BY time ORDER BY time LIMIT ?"""

Rows = list[tuple[Any, ...]]


class Series:
    """The rows of one derived value after another, and the names that there are."""

    def __init__(self, handle: Handle) -> None:
        self._handle = handle

    @property
    def names(self) -> Names:
        """What the marks of readings mean."""
        return self._handle.names

    def names_of(self, depot: str, table: Literal["reading", "derived"]) -> list[str]:
        """The names of a depot's series that have rows. Raises: DiskTrouble, JournalUnusable."""
        select = f"SELECT 1 FROM {table} WHERE series = ? LIMIT 1"  # noqa: S608 - our own names
        with self._handle.reading() as db:
            return [
                name
                for number, name in self._handle.names.series_of(depot)
                if db.execute(select, (number,)).fetchone()
            ]

    def derived(self, depot: str, name: str, start: Instant, end: Instant) -> Iterator[Rows]:
        """Time, value, standard uncertainty, the ends of the interval, calibrated, and its place.

        Raises: DiskTrouble, JournalUnusable.
        """
        while True:
            with self._handle.reading() as db:
                series = self._handle.names.find_series(depot, name)
                rows = db.execute(_DERIVED, (series, start, end, ROWS)).fetchall()
            if rows:
                yield rows
            if len(rows) < ROWS:
                return
            start = rows[-1][0] + 1
