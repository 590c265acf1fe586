"""Every reading and derived value of a time, in the order in which the journal has them.

For exports: one short look at the file for so many rows, so that a season holds up no writer and
needs no more memory than an hour.
"""

from collections.abc import Iterator, Mapping, Sequence
from dataclasses import dataclass
from typing import Any, Final, NamedTuple

from brineward.journal.handle import Handle
from brineward.journal.trouble import UnreadableRow
from brineward.readings.instants import Instant

LOOK: Final = 50_000
"""Rows that one look brings."""

_READINGS: Final = """SELECT seq, series, time, value, mark FROM reading
    WHERE seq > ? AND time >= ? AND time < ? ORDER BY seq LIMIT ?"""
_DERIVED: Final = """SELECT place, series, time, value, uncertainty, low_95, high_95, calibrated
    FROM derived WHERE place > ? AND time >= ? AND time < ? ORDER BY place LIMIT ?"""


@dataclass(frozen=True, slots=True, kw_only=True)
class Wanted:
    """Which series, and of which time."""

    depots: frozenset[str]
    names: frozenset[str] = frozenset()
    """Of sensors and derived values; none: all."""
    start: Instant
    end: Instant

    def has(self, depot: str, name: str) -> bool:
        """Is it among them?"""
        return depot in self.depots and (not self.names or name in self.names)


class Columns(NamedTuple):
    """Rows by their columns, all of one length."""

    series: Sequence[tuple[str, str]]
    """Depot and name."""
    times: Sequence[Instant]
    values: Sequence[float | None]
    marks: Sequence[tuple[str, str]]
    """Of readings: quality and reason."""
    doubts: Sequence[float | None]
    """Of derived values: their standard uncertainty,"""
    lows: Sequence[float | None]
    highs: Sequence[float | None]
    """the ends of their 95 % intervals,"""
    calibrated: Sequence[bool | None]
    """and whether a test by hand stands behind them."""


class Bulk:
    """Goes through the whole of one open journal, in its thread."""

    def __init__(self, handle: Handle) -> None:
        self._handle = handle

    def readings(self, wanted: Wanted) -> Iterator[Columns]:
        """So many readings at a time, in the order of arrival.

        Raises: DiskTrouble, JournalDamaged.
        """
        for series, (times, values, marks) in self._looks(_READINGS, wanted):
            nothing: Sequence[None] = (None,) * len(times)
            said = {mark: self._mark(mark) for mark in set(marks)}
            yield Columns(
                series, times, values, [said[mark] for mark in marks],
                nothing, nothing, nothing, nothing,
            )  # fmt: skip

    def derived(self, wanted: Wanted) -> Iterator[Columns]:
        """So many derived values at a time, in the order in which they were worked out.

        Raises: DiskTrouble, JournalDamaged.
        """
        for series, columns in self._looks(_DERIVED, wanted):
            times, values, doubts, lows, highs, calibrated = columns
            marks = (("", ""),) * len(times)
            flags = [bool(one) for one in calibrated]
            yield Columns(series, times, values, marks, doubts, lows, highs, flags)

    def thinned(self, wanted: Wanted) -> int:
        """How many hours of this time have only their sums left."""
        select = "SELECT series, count(*) FROM hour WHERE time >= ? AND time < ? GROUP BY series"
        with self._handle.reading() as db:
            rows = db.execute(select, (wanted.start, wanted.end)).fetchall()
            named = self._names(wanted)
        return sum(count for series, count in rows if series in named)

    def _looks(
        self, select: str, wanted: Wanted
    ) -> Iterator[tuple[Sequence[tuple[str, str]], Sequence[Sequence[Any]]]]:
        """Of each look: whose the rows are, and their other columns."""
        with self._handle.reading():
            named = self._names(wanted)
        at = -1
        while True:
            with self._handle.reading() as db:
                rows = db.execute(select, (at, wanted.start, wanted.end, LOOK)).fetchall()
            if not rows:
                return
            at = rows[-1][0]
            if wanted.names or len(named) < self._known():
                rows = [row for row in rows if row[1] in named]
            if rows:
                _, series, *columns = zip(*rows, strict=True)
                yield [named[one] for one in series], columns

    def _known(self) -> int:
        """How many series there are in all."""
        with self._handle.reading() as db:
            (count,) = db.execute("SELECT count(*) FROM series").fetchone()
        return int(count)

    def _names(self, wanted: Wanted) -> Mapping[int, tuple[str, str]]:
        """The wanted series by their numbers."""
        return {
            series: (depot, name)
            for depot in sorted(wanted.depots)
            for series, name in self._handle.names.series_of(depot)
            if wanted.has(depot, name)
        }

    def _mark(self, number: int) -> tuple[str, str]:
        if number == 0:
            return "good", ""
        try:
            mark = self._handle.names.mark(number)
        except UnreadableRow:
            return "", ""
        return str(mark[0]), mark[1]
