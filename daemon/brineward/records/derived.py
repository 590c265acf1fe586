"""What was computed from readings."""

from brineward.journal.handle import Handle
from brineward.journal.rows import DERIVED, derived_from_row
from brineward.readings.instants import Instant
from brineward.readings.outputs import Derived
from brineward.records.buckets import Bucket, buckets
from brineward.records.ever import NEVER

_SELECT = f"SELECT {DERIVED} FROM derived WHERE series = ? AND time "  # noqa: S608 - our own names


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

    def buckets(
        self, depot: str, name: str, start: Instant, end: Instant, width_seconds: float
    ) -> list[Bucket]:
        """A derived value in stretches of `width_seconds`; see `buckets.buckets`."""
        return buckets(
            self._handle,
            depot,
            name,
            start=start,
            end=end,
            width_seconds=width_seconds,
            derived=True,
        )

    def _made(self, rows: list[tuple[object, ...]]) -> list[Derived]:
        names = self._handle.names
        made = self._handle.readable("derived", rows, lambda row: derived_from_row(names, row))
        return list(made)
