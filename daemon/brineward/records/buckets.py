"""One interval of a series: its lowest, mean and highest."""

from dataclasses import dataclass

from brineward.readings.instants import Instant


@dataclass(frozen=True, slots=True, kw_only=True)
class Bucket:
    """A stretch of one sensor's readings, or of a derived value, in sum."""

    time: Instant
    """Its beginning."""
    count: int
    low: float
    mean: float
    high: float
