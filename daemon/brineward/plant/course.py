"""A quantity's recent course: a straight line through it, whether it moves, its usual low.

Mutable, but pure: a function of the values that were given, each in its turn.
"""

import math
from collections import deque
from typing import Any

from brineward.plant.noise import Noise
from brineward.readings.instants import HOUR, SECOND, Instant

SLOPE_STEP = 1e-9
"""Derived values are rounded before any comparison, so that all processors agree."""

MOST_POINTS = 256
"""A window holds no more values than this, evenly spread, however fast a sensor reports."""

_NANO = 1_000_000_000  # values are summed as whole billionths, exactly: the order can't matter
_FEWEST = 4


def rounded(slope: float) -> float:
    """A slope, units a second, rounded to the step in which slopes are compared."""
    return round(slope / SLOPE_STEP) * SLOPE_STEP


def median(values: list[float]) -> float:
    """The middle of one or more values, in their own unit; of an even number, the mean of the two
    in the middle."""
    ordered = sorted(values)
    half, odd = divmod(len(ordered), 2)
    return ordered[half] if odd else (ordered[half - 1] + ordered[half]) / 2


class Course:
    """The straight line through the last `window_seconds` of a quantity: where it is, how it goes.

    Least squares over the window, by sums that are kept up to date: a value costs the same
    however many there are. The slope's standard uncertainty is from the sensor's own, or from the
    residuals where they are larger: a surface that sloshes, a line with a bend.
    """

    def __init__(
        self, *, window_seconds: float, standard_uncertainty: float, gap_seconds: float = 0.0
    ) -> None:
        self._window = int(window_seconds * SECOND)
        self._gap = max(int(gap_seconds * SECOND), self._window // MOST_POINTS)
        self._declared = standard_uncertainty
        self.noise = Noise(standard_uncertainty)
        """How noisy single values are, whatever the trend."""
        self._points: deque[tuple[Instant, float]] = deque()
        self._middles: dict[float, tuple[float, int]] = {}
        """What `middle` found, until the next value: several alarms ask for the same."""
        self._base = (0, 0)
        self._sums = (0, 0, 0, 0, 0)
        """Of t, v, t t, t v and v v: milliseconds and billionths from the first value on."""
        self.level: float | None = None
        """The line's value at the newest point."""
        self.slope: float | None = None
        """Its slope, units a second; None until the window is half full."""
        self.slope_uncertainty = math.inf
        self.scatter = 0.0
        """How far the values are from the line (root mean square)."""

    def add(self, time: Instant, value: float) -> None:
        """Take one value, unless it comes within the gap after the last; times must rise."""
        points = self._points
        if points and time - points[-1][0] < self._gap:
            return
        self.noise.add(value)
        self._middles.clear()
        self._draw(time, value)

    def _draw(self, time: Instant, value: float) -> None:
        """Take a value into the sums, and what is too old out of them; fit the line again.

        One method, since every level goes through it.
        """
        points = self._points
        if not points:
            self._base, self._sums = (time, round(value * _NANO)), (0, 0, 0, 0, 0)
        first, zero = self._base
        points.append((time, value))
        t, v = time - first, round(value * _NANO) - zero
        sum_t, sum_v, sum_tt, sum_tv, sum_vv = self._sums
        sum_t, sum_v, sum_tt, sum_tv, sum_vv = (
            sum_t + t, sum_v + v, sum_tt + t * t, sum_tv + t * v, sum_vv + v * v,
        )  # fmt: skip
        oldest = time - self._window
        while points[0][0] < oldest:
            old, gone = points.popleft()
            t, v = old - first, round(gone * _NANO) - zero
            sum_t, sum_v, sum_tt, sum_tv, sum_vv = (
                sum_t - t, sum_v - v, sum_tt - t * t, sum_tv - t * v, sum_vv - v * v,
            )  # fmt: skip
        self._sums = (sum_t, sum_v, sum_tt, sum_tv, sum_vv)
        n = len(points)
        if n < _FEWEST or time - points[0][0] < self._window // 2:
            self.level, self.slope, self.slope_uncertainty = value, None, math.inf
            self.scatter = 0.0
            return
        spread = n * sum_tt - sum_t * sum_t
        together = n * sum_tv - sum_t * sum_v
        left = ((n * sum_vv - sum_v * sum_v) * spread - together * together) / spread
        self.scatter = scatter = math.sqrt(left / n / (n - 2)) / _NANO
        # Billionths a millisecond to units a second.
        self.slope = rounded(together / spread / (_NANO / SECOND))
        # In whole numbers, since what a float rounds off depends on where the window began.
        rise, run = sum_v * spread + together * (n * (time - first) - sum_t), n * spread
        self.level = (zero + (2 * rise + run) // (2 * run)) / _NANO
        off = self._declared if self._declared > scatter else scatter
        self.slope_uncertainty = off * SECOND / math.sqrt(spread / n)

    def middle(self, span_seconds: float) -> tuple[float, int]:
        """The median of the values of the last so many seconds, of three at least; how many.

        One wild value doesn't move it. Valid once there is a value.
        """
        found = self._middles.get(span_seconds)
        if found is None:
            points = self._points
            since = points[-1][0] - span_seconds * SECOND
            latest: list[float] = []
            for time, value in reversed(points):
                if time < since and len(latest) >= 3:
                    break
                latest.append(value)
            found = self._middles[span_seconds] = (median(latest), len(latest))
        return found

    def snapshot(self) -> list[Any]:
        """The course as plain data."""
        return [[list(point) for point in self._points], self.noise.snapshot()]

    def restore(self, data: list[Any]) -> None:
        """Become what `snapshot` wrote."""
        points, noise = data
        self.noise.restore(noise)
        self._points.clear()
        self._middles.clear()
        self._base, self._sums = (0, 0), (0, 0, 0, 0, 0)
        self.level = self.slope = None
        self.slope_uncertainty, self.scatter = math.inf, 0.0
        for time, value in points:
            self._draw(time, value)


class UsualLow:
    """The lowest value of each hour of the last week: what is normal for a thermostat's swing."""

    def __init__(self) -> None:
        self._hours: deque[tuple[int, float]] = deque()
        self._known: tuple[int, float | None] | None = None
        """What `before` found, until the next hour."""

    def add(self, time: Instant, value: float) -> None:
        """Take one value; times must rise."""
        hour = time // HOUR
        hours = self._hours
        if hours and hours[-1][0] == hour:
            if value < hours[-1][1]:
                hours[-1] = (hour, value)
            return
        self._known = None
        hours.append((hour, value))
        while hours[0][0] < hour - 7 * 24:
            hours.popleft()

    def before(self, now: Instant) -> float | None:
        """The lowest of the week before the last hour and this; None where nothing is known."""
        latest = now // HOUR - 2
        if self._known is None or self._known[0] != latest:
            lows = [low for hour, low in self._hours if hour <= latest]
            self._known = (latest, min(lows, default=None))
        return self._known[1]

    def snapshot(self) -> list[Any]:
        """The hours as plain data."""
        return [list(hour) for hour in self._hours]

    def restore(self, data: list[Any]) -> None:
        """Become what `snapshot` wrote."""
        self._hours = deque((hour, low) for hour, low in data)
        self._known = None


class Movement:
    """Whether a vessel's level is rising, falling or still, and since when.

    It starts to move when the slope passes `threshold` and three of its standard uncertainties,
    and is still again under half of that: so noise doesn't start and stop it.
    """

    def __init__(self, threshold_m_per_s: float) -> None:
        self._threshold = threshold_m_per_s
        self.direction = 0
        """+1 rising, -1 falling, 0 still."""
        self.since: Instant = 0

    def update(self, course: Course, now: Instant) -> bool:
        """Take the course's newest slope; did the direction change?"""
        slope = course.slope
        if slope is None:
            return False
        start = max(self._threshold, 3 * course.slope_uncertainty)
        bound = start / 2 if self.direction else start
        direction = 0 if abs(slope) < bound else (1 if slope > 0 else -1)
        if direction == self.direction:
            return False
        self.direction = direction
        self.since = now
        return True

    def snapshot(self) -> list[Any]:
        """The movement as plain data."""
        return [self.direction, self.since]

    def restore(self, data: list[Any]) -> None:
        """Become what `snapshot` wrote."""
        self.direction, self.since = data
