"""What was computed from readings."""

from brineward.journal.handle import Handle
from brineward.journal.rows import DERIVED, derived_from_row
from brineward.readings.instants import Instant
from brineward.readings.outputs import Derived
from brineward.records.courses import hour_mean
from brineward.records.ever import NEVER
from brineward.records.stretches import EACH, THINNED, WITHIN, bounds

_SELECT = f"SELECT {DERIVED} FROM derived WHERE series = ? AND time "  # noqa: S608 - our own names

_COLUMNS = ", ".join(f"d.{column.strip()}" for column in DERIVED.split(","))
_LAST_OF_EACH = f"""{EACH} SELECT {_COLUMNS} FROM stretch JOIN derived d ON d.place = (
    SELECT place FROM derived WHERE series = :series AND low_95 IS NOT NULL AND {WITHIN}
    ORDER BY time DESC, place DESC LIMIT 1)"""  # noqa: S608 - our own names
_EACH = f"""{EACH} SELECT coalesce(
    (SELECT value FROM derived WHERE series = :series AND {WITHIN}
        ORDER BY time DESC, place DESC LIMIT 1),
    (SELECT total / count FROM hour WHERE series = :series AND derived AND {THINNED}))
    AS value FROM stretch WHERE value IS NOT NULL"""  # noqa: S608 - our own names


class DerivedValues:
    """Derived values, by the time that they are for."""

    def __init__(self, handle: Handle) -> None:
        self._handle = handle

    def latest(self, depot: str, not_after: Instant = NEVER) -> dict[str, Derived]:
        """The newest of each derived value of a depot, up to an instant."""
        select = _SELECT + "<= ? ORDER BY time DESC, place DESC LIMIT 1"
        found: dict[str, Derived] = {}
        with self._handle.reading() as db:
            for series, name in self._handle.names.series_of(depot):
                rows = db.execute(select, (series, not_after)).fetchall()
                found.update((name, one) for one in self._made(rows))
        return found

    def between(self, depot: str, name: str, start: Instant, end: Instant) -> list[Derived]:
        """A derived value from `start` to before `end`; the last conclusion of each instant."""
        select = _SELECT + ">= ? AND time < ? ORDER BY time, place"
        with self._handle.reading() as db:
            series = self._handle.names.find_series(depot, name)
            rows = db.execute(select, (series, start, end)).fetchall()
            return list({one.time: one for one in self._made(rows)}.values())

    def last_of_each(
        self, depot: str, name: str, start: Instant, end: Instant, width_seconds: float
    ) -> list[Derived]:
        """The last value with an interval of each stretch of `width_seconds` that has one."""
        with self._handle.reading() as db:
            series = self._handle.names.find_series(depot, name)
            values = {"series": series, **bounds(start, end, width_seconds)}
            return self._made(db.execute(_LAST_OF_EACH, values).fetchall())

    def values_of_each(
        self, depot: str, name: str, start: Instant, end: Instant, width_seconds: float
    ) -> list[float]:
        """What each stretch of an hour or less ended with, those left out that have no value.

        Where only an hour's sums are left, its mean stands for all of it.
        """
        with self._handle.reading() as db:
            series = self._handle.names.find_series(depot, name)
            values = {"series": series, **bounds(start, end, width_seconds)}
            return [value for (value,) in db.execute(_EACH, values)]

    def hour_mean(self, depot: str, name: str, at: Instant) -> float | None:
        """The mean of the thinned hour that an instant is in; see `courses.hour_mean`."""
        return hour_mean(self._handle, depot, name, at, derived=True)

    def _made(self, rows: list[tuple[object, ...]]) -> list[Derived]:
        names = self._handle.names
        made = self._handle.readable("derived", rows, lambda row: derived_from_row(names, row))
        return list(made)
