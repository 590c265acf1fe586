"""When the bed of salt in a hopper rose, and by how much: what was tipped in. Pure.

A wrong echo that lasts less than half an hour is no delivery: the bed is the median of an hour and
more, and what counts is a rise that has lasted.
"""

from collections.abc import Iterator, Sequence
from typing import Final, NamedTuple

from brineward.plant.course import median
from brineward.plant.hopper_salt import FILLING_LASTS, FILLING_M
from brineward.readings.instants import SECOND, Instant
from brineward.records.buckets import Bucket

BED_SECONDS: Final = 600.0
"""The length of a stretch: salt is tipped in within a quarter of an hour."""
MEDIAN_OF: Final = 7
"""The bed is the median of so many stretches, the mean of each: of these, three may be wrong. A
median keeps the size of a rise that lasts longer than that."""
_LASTS: Final = round(FILLING_LASTS / (BED_SECONDS * SECOND))
"""Stretches in which whatever is tipped in is one filling."""


class Rise(NamedTuple):
    """One filling."""

    at: Instant
    """When the bed was at its highest."""
    low_m: float
    high_m: float
    """The bed before and after it."""
    began: Instant
    ended: Instant
    """Between which the bed went from one to the other, whatever was used meanwhile."""


def rises(beds: Sequence[Bucket]) -> Iterator[Rise]:
    """The fillings that these stretches of a bed's height in m show; what rises less is noise.

    Nothing is found in fewer stretches than one median needs.
    """
    heights = [
        median([one.mean for one in beds[place : place + MEDIAN_OF]])
        for place in range(len(beds) - MEDIAN_OF + 1)
    ]
    low = 0
    top: int | None = None
    for now, height in enumerate(heights):
        if top is not None:
            if now - top <= _LASTS:
                top = now if height > heights[top] else top
                continue
            yield _rise(beds, heights, low, top)
            top = None
        before = range(max(0, now - _LASTS), now)
        # The last of the lowest ones: the nearer to the filling, the less was used in between.
        low = min(before, key=lambda place: (heights[place], -place), default=now)
        if height - heights[low] >= FILLING_M:
            top = now
    if top is not None:
        yield _rise(beds, heights, low, top)


def seen_until(beds: Sequence[Bucket]) -> Instant:
    """Until when salt that was tipped in shows in these stretches, at least `MEDIAN_OF` of them:
    more than half of a median must come after it."""
    return beds[-(MEDIAN_OF // 2 + 1)].time


def _rise(beds: Sequence[Bucket], heights: Sequence[float], low: int, top: int) -> Rise:
    # Beside a sudden rise, the median is what the bed was half its stretches away from it.
    return Rise(
        at=beds[top + MEDIAN_OF // 2].time,
        low_m=heights[low],
        high_m=heights[top],
        began=beds[low].time,
        ended=beds[top + MEDIAN_OF - 1].time,
    )
