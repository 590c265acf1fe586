"""What the sensors said."""

from collections.abc import Iterable
from typing import Final

import orjson

from brineward.journal.handle import Handle
from brineward.journal.rows import READING, reading_from_row
from brineward.journal.summing import GOOD
from brineward.readings.instants import HOUR, SECOND, Instant
from brineward.readings.values import Reading
from brineward.records.buckets import Bucket
from brineward.records.courses import ANY, Within, course, hour_mean
from brineward.records.ever import NEVER
from brineward.records.stretches import EACH, THINNED, WITHIN, bounds

_SELECT = f"SELECT {READING} FROM reading WHERE series = ? AND time "  # noqa: S608 - our own names
_SELECT_SECOND = f"""SELECT {READING} FROM second_reading
    WHERE series = ? AND time >= ? AND time < ? AND conflict ORDER BY time, seq"""  # noqa: S608 - our own column names


_HEARD = f"""{EACH} SELECT count(*) FROM stretch WHERE EXISTS (
        SELECT 1 FROM json_each(:series) AS one JOIN reading ON series = one.value AND {WITHIN}
        WHERE reading.value IS NOT NULL AND {GOOD})
    OR EXISTS (SELECT 1 FROM json_each(:series) AS one JOIN hour ON series = one.value
        WHERE NOT derived AND {THINNED})"""  # noqa: S608 - our own names

_ANY: Final = """SELECT EXISTS (SELECT 1 FROM reading
        WHERE series = :series AND time >= :start AND time < :end)
    OR EXISTS (SELECT 1 FROM hour
        WHERE series = :series AND NOT derived AND time > :start - :hour AND time < :end)"""

STRETCH_SECONDS: Final = 600.0
"""In which it is asked whether anything was heard."""


class Readings:
    """Readings, by the time at which they were measured."""

    def __init__(self, handle: Handle) -> None:
        self._handle = handle

    def latest(self, depot: str, not_after: Instant = NEVER) -> dict[str, Reading]:
        """The newest reading of each sensor of a depot, up to an instant."""
        select = _SELECT + "<= ? ORDER BY time DESC LIMIT 1"
        found: dict[str, Reading] = {}
        with self._handle.reading() as db:
            for series, name in self._handle.names.series_of(depot):
                rows = db.execute(select, (series, not_after)).fetchall()
                found.update((name, one) for one in self._made("reading", rows))
        return found

    def between(self, depot: str, sensor: str, start: Instant, end: Instant) -> list[Reading]:
        """A sensor's readings from `start` to before `end`."""
        with self._handle.reading() as db:
            series = self._handle.names.find_series(depot, sensor)
            select = _SELECT + ">= ? AND time < ? ORDER BY time"
            return self._made("reading", db.execute(select, (series, start, end)).fetchall())

    def span(self, depot: str) -> tuple[Instant, Instant] | None:
        """The times of a depot's first reading that is kept and of its newest; None without any."""
        # Each by itself is found at an end of the index; both in one go read all of it.
        select = """SELECT (SELECT min(time) FROM reading WHERE series = ?1),
            (SELECT max(time) FROM reading WHERE series = ?1)"""
        with self._handle.reading() as db:
            found = [
                db.execute(select, (series,)).fetchone()
                for series, _ in self._handle.names.series_of(depot)
            ]
        known = [(first, last) for first, last in found if first is not None]
        if not known:
            return None
        return min(first for first, _ in known), max(last for _, last in known)

    def first(self, depot: str) -> Instant | None:
        """The time of the first reading that is known of a depot, or its hour; None without any."""
        select = """SELECT min(time) FROM (SELECT min(time) AS time FROM reading WHERE series = ?1
            UNION ALL SELECT min(time) FROM hour WHERE series = ?1 AND NOT derived)"""
        with self._handle.reading() as db:
            found = [
                db.execute(select, (series,)).fetchone()[0]
                for series, _ in self._handle.names.series_of(depot)
            ]
        return min((time for time in found if time is not None), default=None)

    def last(self, depot: str, before: Instant) -> Instant | None:
        """The time of a depot's last reading before an instant, or the end of its thinned hour;
        None without any."""
        select = """SELECT max(time) FROM (
            SELECT max(time) AS time FROM reading WHERE series = ?1 AND time < ?2
            UNION ALL SELECT min(max(time) + ?3, ?2 - 1) FROM hour
                WHERE series = ?1 AND NOT derived AND time < ?2)"""
        with self._handle.reading() as db:
            found = [
                db.execute(select, (series, before, HOUR - 1)).fetchone()[0]
                for series, _ in self._handle.names.series_of(depot)
            ]
        return max((time for time in found if time is not None), default=None)

    def any_within(self, depot: str, start: Instant, end: Instant) -> bool:
        """Whether a reading of a depot, or a thinned hour of them, lies from `start` to before
        `end`."""
        bounds = {"start": start, "end": end, "hour": HOUR}
        with self._handle.reading() as db:
            return any(
                db.execute(_ANY, {"series": series, **bounds}).fetchone()[0]
                for series, _ in self._handle.names.series_of(depot)
            )

    def conflicts(self, depot: str, sensor: str, start: Instant, end: Instant) -> list[Reading]:
        """Second values of instants that had one already, from `start` to before `end`."""
        with self._handle.reading() as db:
            series = self._handle.names.find_series(depot, sensor)
            rows = db.execute(_SELECT_SECOND, (series, start, end)).fetchall()
            return self._made("second_reading", rows)

    def buckets(
        self,
        depot: str,
        sensor: str,
        start: Instant,
        end: Instant,
        width_seconds: float,
        *,
        within: Within = ANY,
    ) -> list[Bucket]:
        """A sensor's readings in stretches of `width_seconds`, those alone that are `within` its
        range; see `courses.course`."""
        found = course(
            self._handle,
            depot,
            sensor,
            start=start,
            end=end,
            width_seconds=width_seconds,
            derived=False,
            within=within,
        )
        return [one.bucket for one in found]

    def hour_mean(
        self, depot: str, sensor: str, at: Instant, *, within: Within = ANY
    ) -> float | None:
        """The mean of the thinned hour that an instant is in; see `courses.hour_mean`."""
        return hour_mean(self._handle, depot, sensor, at, derived=False, within=within)

    def heard_seconds(
        self, depot: str, sensors: Iterable[str], start: Instant, end: Instant
    ) -> float:
        """For how long any of these sensors was heard, by whole stretches of ten minutes."""
        with self._handle.reading() as db:
            series = [self._handle.names.find_series(depot, sensor) for sensor in sensors]
            values = bounds(start, end, STRETCH_SECONDS)
            (heard,) = db.execute(
                _HEARD, {"series": orjson.dumps(series).decode(), **values}
            ).fetchone()
        return float(min(heard * STRETCH_SECONDS, (end - start) / SECOND))

    def _made(self, table: str, rows: list[tuple[object, ...]]) -> list[Reading]:
        names = self._handle.names
        return list(self._handle.readable(table, rows, lambda row: reading_from_row(names, row)))
