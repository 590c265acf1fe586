"""A series in stretches for a picture: lowest, mean and highest of each, and its 95 % interval."""

from dataclasses import dataclass
from typing import Final

from brineward.journal.handle import Handle
from brineward.readings.instants import SECOND, Instant
from brineward.records.buckets import Bucket, buckets

_LOOKS: Final = 12
"""A long course is read in so many short looks, so that none pins the write-ahead file for long."""

_BAND: Final = """SELECT time / :width AS bucket, min(low_95), max(high_95) FROM derived
    WHERE series = :series AND time >= :start AND time < :end AND low_95 IS NOT NULL
    GROUP BY bucket"""


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
) -> list[Stretch]:
    """A series from `start` to before `end` in stretches of whole `width_seconds`, 1 or more.

    No spike is lost: each stretch has its lowest and highest. Raises: DiskTrouble, JournalDamaged.
    """
    width = int(width_seconds * SECOND)
    found: list[Stretch] = []
    first = start // width * width
    step = max(1, -(-(end - first) // (width * _LOOKS))) * width
    for left in range(first, end, step):
        within = {"start": max(left, start), "end": min(left + step, end)}
        bands = _bands(handle, depot, name, width=width, **within) if derived else {}
        some = buckets(handle, depot, name, width_seconds=width_seconds, derived=derived, **within)
        found += [Stretch(bucket=one, band=bands.get(one.time)) for one in some]
    return found


def _bands(
    handle: Handle, depot: str, name: str, *, width: int, start: Instant, end: Instant
) -> dict[Instant, tuple[float, float]]:
    with handle.reading() as db:
        series = handle.names.find_series(depot, name)
        values = {"series": series, "width": width, "start": start, "end": end}
        return {at * width: (low, high) for at, low, high in db.execute(_BAND, values)}
