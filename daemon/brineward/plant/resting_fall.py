"""How fast the shelter cools while its heater is off: learned from its own thermostat's swing.

With a failed heater the shelter cools just as it does while a working one is off, only for longer;
with an open door it cools much faster. Mutable, but pure.
"""

import math
from collections import deque
from typing import Any

from brineward.plant.course import Course, median
from brineward.readings.instants import DAY, MINUTE, Instant

FASTEST_OF = 20 * MINUTE
"""The fastest fall of each stretch is remembered, of half a day of them: weather changes."""
FEWEST_STRETCHES = 3
"""What is usual is the median of no fewer stretches than this, so one open door is not usual."""
FALL_IS_SURE = 3.0
"""A fall counts where it is so many times its standard uncertainty."""
WINDOW_SECONDS = 240.0
"""In the cold a thermostat is hardly off for longer."""


class RestingFall:
    """The shelter's fall now, and its usual fall while the heater is off, K/s."""

    def __init__(self, every_seconds: float) -> None:
        # A thermometer's constant error doesn't change a slope; its random errors show in it.
        self.course = Course(
            window_seconds=max(WINDOW_SECONDS, 6 * every_seconds),
            standard_uncertainty=0.0,
            gap_seconds=20.0,
        )
        self.now: float | None = None
        """The fall now, above 0; None where it doesn't fall for sure."""
        self._stretches: deque[tuple[int, float]] = deque()
        self._usual: tuple[int, float | None] | None = None
        """What `usual` found, until the next stretch."""

    def add(self, time: Instant, value: float) -> None:
        """Take one shelter temperature in degC; times must rise."""
        self.course.add(time, value)
        slope = self.course.slope
        if slope is None or slope >= -FALL_IS_SURE * self.course.slope_uncertainty:
            self.now = None
            return
        self.now = -slope
        number, stretches = time // FASTEST_OF, self._stretches
        if stretches and stretches[-1][0] == number:
            if self.now > stretches[-1][1]:
                stretches[-1] = (number, self.now)
            return
        self._usual = None
        stretches.append((number, self.now))
        while stretches[0][0] < number - DAY // 2 // FASTEST_OF:
            stretches.popleft()

    @property
    def rises(self) -> bool:
        """Does it rise for sure?"""
        slope = self.course.slope
        return slope is not None and slope > FALL_IS_SURE * self.course.slope_uncertainty

    def usual(self, now: Instant) -> float | None:
        """The fall while the heater is off, up to the last stretch but one; None if unknown."""
        latest = now // FASTEST_OF - 2
        if self._usual is None or self._usual[0] != latest:
            known = [fall for number, fall in self._stretches if number <= latest]
            enough = len(known) >= FEWEST_STRETCHES
            self._usual = (latest, median(known) if enough else None)
        return self._usual[1]

    def snapshot(self) -> list[Any]:
        """What is remembered, as plain data."""
        return [self.course.snapshot(), self.now, [list(stretch) for stretch in self._stretches]]

    def restore(self, data: list[Any]) -> None:
        """Become what `snapshot` wrote."""
        course, self.now, stretches = data
        self.course.restore(course)
        self._stretches = deque((number, fall) for number, fall in stretches)
        self._usual = None


def seconds_to_zero(value_c: float, fall: float, outdoors_c: float | None) -> float | None:
    """Seconds until a falling temperature is at 0 degC, by Newton's law of cooling.

    `fall` in K/s, above 0. Without the outdoors it is a straight line, which errs early. None
    where the outdoors is not below 0 degC: it won't come to that.
    """
    if value_c <= 0.0:
        return 0.0
    if outdoors_c is None or value_c <= outdoors_c:
        return value_c / fall
    if outdoors_c >= 0.0:
        return None
    over = value_c - outdoors_c
    return over / fall * math.log(over / -outdoors_c)
