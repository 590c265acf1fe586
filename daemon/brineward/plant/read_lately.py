"""What a probe and its thermometer read in the last day: means of ten minutes, kept for a test."""

from collections import deque
from math import exp, log
from typing import Any

from brineward.readings.instants import HOUR, MINUTE, SECOND, Instant

MEAN_OF = 10 * MINUTE
"""Readings are remembered as means of so long."""
OLDEST = 24 * HOUR
"""What it read longer ago isn't remembered: a test is entered within a day."""
FEWEST_READINGS = 3
"""A test is compared with no fewer readings than this, of a probe that reports so often."""
FURTHEST = 3
"""For a slower probe one reading is enough, at most this many stretches away, in standing brine."""
LOOKED_OVER = 6
"""An observation of standing brine is the mean of this many stretches: an hour."""


class ReadLately:
    """The readings of a probe in covered, settled brine; mutable, but pure."""

    def __init__(self, every_seconds: float) -> None:
        """Probe and thermometer report as seldom as this."""
        self._is_slow = FEWEST_READINGS * every_seconds * SECOND > MEAN_OF
        """Do they report too seldom for a mean of some readings?"""
        self._stretches: deque[list[float]] = deque()
        """Number of the stretch, count, sums of ln(conductivity) and of temperature."""

    def note(self, time: Instant, read_s_per_m: float, read_c: float) -> None:
        """Remember a reading; conductivity above 0."""
        stretches, number = self._stretches, time // MEAN_OF
        while stretches and stretches[-1][0] > number + 1:
            stretches.pop()  # of a clock that was ahead
        if stretches and stretches[-1][0] == number:
            last = stretches[-1]
            last[1] += 1
            last[2] += log(read_s_per_m)
            last[3] += read_c
            return
        stretches.append([number, 1, log(read_s_per_m), read_c])
        while stretches[0][0] < number - OLDEST // MEAN_OF:
            stretches.popleft()

    def at(self, at: Instant) -> tuple[float, float] | None:
        """The mean conductivity and temperature about an instant; None where it read too little."""
        number = at // MEAN_OF
        for reach in range(FURTHEST + 1):
            near = [s for s in self._stretches if abs(s[0] - number) <= reach]
            count = sum(s[1] for s in near)
            if count >= (FEWEST_READINGS if reach <= 1 and not self._is_slow else 1):
                break
            if reach == 1 and not self._is_slow:
                return None
        else:
            return None
        return exp(sum(s[2] for s in near) / count), sum(s[3] for s in near) / count

    def in_the_last_hour(self, now: Instant) -> tuple[float, float] | None:
        """Their means then; None where they read too little."""
        number = now // MEAN_OF
        lately = [one for one in self._stretches if number - LOOKED_OVER <= one[0] <= number]
        count = sum(one[1] for one in lately)
        if count < FEWEST_READINGS:
            return None
        return exp(sum(one[2] for one in lately) / count), sum(one[3] for one in lately) / count

    def snapshot(self) -> list[list[float]]:
        """What is remembered, as plain data."""
        return [list(stretch) for stretch in self._stretches]

    def restore(self, data: list[Any]) -> None:
        """Become what `snapshot` wrote."""
        self._stretches = deque(list(stretch) for stretch in data)
