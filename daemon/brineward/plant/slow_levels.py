"""How fast a level changes slowly: a seep, a drain, rain, which minutes' readings can't show.

Medians of five minutes, of the last two hours; mutable, but pure.
"""

import math
from collections import deque
from collections.abc import Sequence
from typing import Any

from brineward.plant.course import median, rounded
from brineward.plant.levels import LevelTracker
from brineward.plant.tracker import Tracker
from brineward.readings.instants import HOUR, MINUTE, SECOND, Instant
from brineward.readings.outputs import Output

STRETCH = 5 * MINUTE
LONGEST = 2 * HOUR // STRETCH
"""How many stretches are remembered."""
_GAP = 5 * SECOND
"""Readings closer than this add nothing to a median of five minutes."""
_FEWEST = 3
"""After so many stretches without a sure change it is known to rest."""
_STILL_GOES = 6
"""Of a change, a share of one in so many must be in the newer half: else it has stopped."""
_STOPPED = 5.0
"""By how many of its standard uncertainties the slope of the last minutes must differ to show that
the creep of the last stretches has stopped (a pump that was switched off)."""


class SlowLevel(Tracker):
    """The creep of one vessel's level."""

    def __init__(self, level: LevelTracker) -> None:
        self.name = f"slow-level/{level.vessel.id}"
        self.level = level
        self.takes = {level.sensor.plan.id: self._take}
        self._sure = accuracy_m(level)
        """A change of less than its accuracy is none."""
        self._number = 0
        self._next: Instant = 0
        """Before this nothing more is taken."""
        self._values: list[float] = []
        self._medians: deque[tuple[int, float]] = deque()
        """The number of each stretch, and its median."""
        self._creep: float | None = None

    @property
    def rise_m_per_s(self) -> float | None:
        """How fast it rises now, below 0 where it falls; None while that isn't known."""
        course, creep = self.level.course, self._creep
        slope = course.slope
        if slope is None:
            return creep
        if self.level.movement.direction:
            return slope
        if creep and abs(creep - slope) > _STOPPED * course.slope_uncertainty:
            return 0.0
        return creep

    def _take(self, time: Instant, value: float) -> Sequence[Output]:
        if time < self._next:
            return ()
        self._next = time + _GAP
        number = time // STRETCH
        if number != self._number:
            self._close()
            self._number = number
        self._values.append(value)
        return ()

    def _close(self) -> None:
        """A stretch is over: its median is kept, and the creep judged again."""
        if self._values:
            self._medians.append((self._number, median(self._values)))
            self._values = []
        medians = self._medians
        while medians and medians[0][0] < self._number - LONGEST:
            medians.popleft()
        self._creep = self._judged()

    def _judged(self) -> float | None:
        """The shortest change that is sure, if it still goes on: m/s."""
        medians = self._medians
        if not medians:
            return None
        newest, now = medians[-1]
        for number, value in reversed(medians):
            change, span = now - value, newest - number
            if abs(change) >= self._sure:
                half = (span + 1) // 2
                lately = next(now - v for n, v in reversed(medians) if n <= newest - half)
                if lately * change <= 0 or abs(lately) * _STILL_GOES < abs(change):
                    return 0.0
                return rounded(change / (span * STRETCH / SECOND))
        return 0.0 if newest - medians[0][0] >= _FEWEST else None

    def snapshot(self) -> list[Any]:
        """What is remembered, as plain data."""
        medians = [list(one) for one in self._medians]
        return [self._number, self._next, list(self._values), medians]

    def restore(self, data: list[Any]) -> None:
        """Become what `snapshot` wrote."""
        self._number, self._next, values, medians = data
        self._values = list(values)
        self._medians = deque((number, value) for number, value in medians)
        self._creep = self._judged()


def accuracy_m(level: LevelTracker) -> float:
    """The plus or minus of a level's data sheet, m: an even spread (JCGM 100:2008, 4.3.7)."""
    return math.sqrt(3.0) * level.sensor.plan.standard_uncertainty
