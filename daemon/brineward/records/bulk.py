"""Every reading of a period, in the order in which the journal took them.

For exports: a scan of the table is several times as fast as reading each sensor, and a run that is
exported in this order can be replayed.
"""

from collections.abc import Iterator, Mapping
from dataclasses import dataclass
from typing import Any, Final, NamedTuple

from brineward.journal.handle import Handle
from brineward.journal.trouble import UnreadableRow
from brineward.readings.instants import Instant

LOOK: Final = 5_000
"""Rows that are read at once: few, so that they stay in the processor's cache, and a long export
never pins the write-ahead file."""

_READINGS: Final = """SELECT series, time, value, mark, seq FROM reading
    WHERE seq > ? AND time >= ? AND time < ? ORDER BY seq LIMIT ?"""

Row = tuple[Any, ...]


class Page(NamedTuple):
    """Readings as the journal has them: their sensors and marks are numbers."""

    readings: list[tuple[int, Instant, float | None, int, int]]
    """Series, time, value, mark, seq."""
    named: Mapping[int, tuple[str, str]]
    """Depot and sensor of each series that is wanted."""
    said: Mapping[int, tuple[str, str]]
    """Quality and reason of each mark in it."""

    def rows(self) -> list[Row]:
        """(time, depot, sensor, value, quality, reason) of each."""
        named, said = self.named, self.said
        return [
            (time, *named[series], value, *said[mark])
            for series, time, value, mark, _ in self.readings
        ]


@dataclass(frozen=True, slots=True, kw_only=True)
class Wanted:
    """Which sensors, by depot, and of which time."""

    sensors: Mapping[str, frozenset[str]]
    start: Instant
    end: Instant


class Bulk:
    """Goes through all readings of one open journal, in its thread."""

    def __init__(self, handle: Handle) -> None:
        self._handle = handle

    def readings(self, wanted: Wanted) -> Iterator[Page]:
        """All of them, page by page; none is empty. Raises: DiskTrouble, JournalDamaged."""
        with self._handle.reading():
            named = self._names(wanted)
        at = -1
        while True:
            with self._handle.reading() as db:
                rows = db.execute(_READINGS, (at, wanted.start, wanted.end, LOOK)).fetchall()
                said = {mark: self._mark(mark) for mark in {row[3] for row in rows}}
            if not rows:
                return
            at = rows[-1][4]
            found = [row for row in rows if row[0] in named]
            if found:
                yield Page(found, named, said)

    def _mark(self, number: int) -> tuple[str, str]:
        """Quality and reason; empty where the row that says them is damaged."""
        try:
            return self._handle.names.mark(number)[:2]
        except UnreadableRow:
            return "", ""

    def thinned(self, wanted: Wanted) -> int:
        """How many hours of single sensors have only their sums left."""
        select = """SELECT series, count(*) FROM hour WHERE NOT derived
            AND time >= ? AND time < ? GROUP BY series"""
        with self._handle.reading() as db:
            rows = db.execute(select, (wanted.start, wanted.end)).fetchall()
            named = self._names(wanted)
        return sum(count for series, count in rows if series in named)

    def _names(self, wanted: Wanted) -> Mapping[int, tuple[str, str]]:
        """The wanted sensors by the numbers of their series."""
        return {
            series: (depot, name)
            for depot, sensors in sorted(wanted.sensors.items())
            for series, name in self._handle.names.series_of(depot)
            if name in sensors
        }
