"""A period as stretches of equal length: a sample of each, instead of reading all of it."""

from typing import Final

from brineward.readings.instants import HOUR, SECOND, Instant

EACH: Final = """WITH RECURSIVE stretch(at) AS (
    SELECT :first WHERE :first < :end
    UNION ALL SELECT at + :width FROM stretch WHERE at + :width < :end)
"""
"""The stretches by their beginnings, which are multiples of their width."""
WITHIN: Final = "time >= max(at, :start) AND time < min(at + :width, :end)"
"""Of what lies in a stretch."""
THINNED: Final = f"time = at - at % {HOUR}"
"""Of the hour that a stretch is in, where only its sums are left."""


def bounds(start: Instant, end: Instant, width_seconds: float) -> dict[str, Instant]:
    """What these statements are given; stretches are no longer than an hour where it is asked
    for thinned hours."""
    width = max(1, int(width_seconds * SECOND))
    return {"start": start, "end": end, "width": width, "first": start - start % width}
