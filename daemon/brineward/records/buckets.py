"""A series by intervals, even where only its hourly sums are left."""

from dataclasses import dataclass
from typing import Final

from brineward.journal.handle import Handle
from brineward.journal.summing import GOOD, addend, subtotal
from brineward.readings.instants import SECOND, Instant

_RAW: Final = """SELECT time, 1 AS count, value AS low, {} AS total, value AS high FROM {}
    WHERE series = :series AND time >= :start AND time < :end AND value IS NOT NULL AND {}"""
_BUCKET: Final = """SELECT time / :width AS bucket, sum(count), min(low), sum({subtotal}), max(high)
    FROM ({raw} UNION ALL SELECT time, count, low, total, high FROM hour WHERE series = :series
        AND derived = :derived AND time >= :start AND time < :end)
    GROUP BY bucket ORDER BY bucket"""
_BUCKETS: Final = {
    derived: _BUCKET.format(subtotal=subtotal("total"), raw=raw)
    for derived, raw in (
        (False, _RAW.format(addend("value"), "reading", GOOD)),
        (True, _RAW.format(addend("value"), "derived", "1")),
    )
}


@dataclass(frozen=True, slots=True, kw_only=True)
class Bucket:
    """A stretch of one sensor's readings, or of a derived value, in sum."""

    time: Instant
    """Its beginning."""
    count: int
    low: float
    mean: float
    high: float


def buckets(
    handle: Handle,
    depot: str,
    name: str,
    *,
    start: Instant,
    end: Instant,
    width_seconds: float,
    derived: bool,
) -> list[Bucket]:
    """A series in stretches of `width_seconds`, from `start` to before `end`.

    Bad readings and instants without a value are left out. A stretch shorter than an hour shows a
    thinned hour at its beginning. A value beyond 1e290 counts as that in a mean.
    """
    width = int(width_seconds * SECOND)
    with handle.reading() as db:
        values = {"series": handle.names.find_series(depot, name), "width": width}
        bounds = {"start": start, "end": end, "derived": derived}
        rows = db.execute(_BUCKETS[derived], values | bounds).fetchall()
    return [
        Bucket(time=at * width, count=count, low=low, mean=total / count, high=high)
        for at, count, low, total, high in rows
    ]
