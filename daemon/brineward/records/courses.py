"""A series by intervals for a picture: lowest, mean and highest of each, and its 95 % interval."""

import math
from dataclasses import dataclass
from typing import Any, Final

from brineward.journal.handle import Handle
from brineward.journal.summing import GOOD, addend, subtotal
from brineward.readings.instants import HOUR, SECOND, Instant
from brineward.records.buckets import Bucket

# One stretch at a time: in one GROUP BY, SQLite sorts a whole season first, which takes three times
# as long (measured: 1.4 s for 1.5 million readings, 0.4 s so) and pins the write-ahead file.
_READING: Final = f"""SELECT count(*), min(value), sum({addend("value")}), max(value), NULL, NULL
    FROM reading WHERE series = ? AND time >= ? AND time < ? AND value BETWEEN ? AND ?
    AND {GOOD}"""  # noqa: S608 - our own
_DERIVED: Final = f"""SELECT count(*), min(value), sum({addend("value")}), max(value), min(low_95),
    max(high_95) FROM derived WHERE series = ? AND time >= ? AND time < ?
    AND value BETWEEN ? AND ?"""  # noqa: S608 - our own
_HOURS: Final = f"""SELECT time / ? AS stretch, sum(count), min(low), sum({subtotal("total")}),
    max(high), NULL, NULL FROM hour WHERE series = ? AND time >= ? AND time < ? AND derived = ?
    AND low >= ? AND high <= ? GROUP BY stretch"""  # noqa: S608 - our own
_IN: Final = "WHERE series = ?1 AND time >= ?2 AND time < ?3"
_ENDS: Final = {
    derived: f"""SELECT (SELECT min(time) FROM {table} {_IN}),
        (SELECT max(time) FROM {table} {_IN})"""  # noqa: S608 - our own
    for derived, table in ((False, "reading"), (True, "derived"))
}
"""Between which there is anything: who asks of long ago is not made to wait for empty stretches."""

_MEAN_OF_HOUR: Final = """SELECT total / count FROM hour
    WHERE series = ? AND derived = ? AND time = ? AND low >= ? AND high <= ?"""

Within = tuple[float, float]
"""The lowest and the highest value that count, in the series' unit."""
ANY: Final[Within] = (-math.inf, math.inf)

_Sums = tuple[Any, ...]


@dataclass(frozen=True, slots=True, kw_only=True)
class Stretch:
    """One stretch of a course, SI."""

    bucket: Bucket
    band: tuple[float, float] | None
    """The widest ends of the 95 % interval in it; None where there is none."""


def course(
    handle: Handle,
    depot: str,
    name: str,
    *,
    start: Instant,
    end: Instant,
    width_seconds: float,
    derived: bool,
    within: Within = ANY,
) -> list[Stretch]:
    """A series from `start` to before `end` in intervals of whole `width_seconds`, 1 or more.

    Bad readings, instants without a value and values that are not `within` are left out, and so is
    a thinned hour in which any was not. No other spike is lost: each interval has its lowest and
    highest. An interval shorter than an hour shows a thinned hour at its beginning. A
    value beyond 1e290 counts as that in a mean. Each interval is read separately, so what is
    committed meanwhile may be in a later one. Raises: DiskTrouble, JournalDamaged.
    """
    width = int(width_seconds * SECOND)
    with handle.reading() as db:
        series = handle.names.find_series(depot, name)
        rows = db.execute(_HOURS, (width, series, start, end, derived, *within)).fetchall()
        first, last = db.execute(_ENDS[derived], (series, start, end)).fetchone()
    hours = {stretch: sums for stretch, *sums in rows}
    select = _DERIVED if derived else _READING
    found = []
    stretches = sorted(
        {*hours, *(() if first is None else range(first // width, last // width + 1))}
    )
    for stretch in stretches:
        bounds = (series, max(start, stretch * width), min(end, (stretch + 1) * width), *within)
        with handle.reading() as db:
            sums = _both(db.execute(select, bounds).fetchone(), hours.get(stretch))
        if sums[0]:
            found.append(_stretch(stretch * width, sums))
    return found


def hour_mean(
    handle: Handle, depot: str, name: str, at: Instant, *, derived: bool, within: Within = ANY
) -> float | None:
    """The mean of the thinned hour that an instant is in, in the series' unit.

    None where nothing of it was thinned, or not all of it was `within`. Raises: DiskTrouble,
    JournalDamaged.
    """
    with handle.reading() as db:
        series = handle.names.find_series(depot, name)
        bounds = (series, derived, at - at % HOUR, *within)
        row = db.execute(_MEAN_OF_HOUR, bounds).fetchone()
    return None if row is None else float(row[0])


def _both(raw: _Sums, hour: _Sums | None) -> _Sums:
    """What is whole and what is left of thinned hours, together."""
    if hour is None or not raw[0]:
        return raw if hour is None else hour
    low, high = min(raw[1], hour[1]), max(raw[3], hour[3])
    return raw[0] + hour[0], low, raw[2] + hour[2], high, raw[4], raw[5]


def _stretch(at: Instant, sums: _Sums) -> Stretch:
    count, low, total, high, low_95, high_95 = sums
    return Stretch(
        bucket=Bucket(time=at, count=count, low=low, mean=total / count, high=high),
        band=None if low_95 is None or high_95 is None else (low_95, high_95),
    )
