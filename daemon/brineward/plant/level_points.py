"""A vessel's volume over time, as few and quiet points: medians of half a minute's levels.

Mutable, but pure. A point never reaches over a start or a stop of a pump, since the volume bends
there.
"""

import math
from collections import deque
from typing import Any, NamedTuple

from brineward.plant.course import median
from brineward.plant.plan import SensorPlan
from brineward.plant.shapes import Shape
from brineward.readings.instants import SECOND, Instant

LENGTH_SECONDS = 30.0
KEPT = 40
"""How many points are remembered: twenty minutes of them."""
_MOST = 16  # levels of a point, evenly spread, however fast a sensor reports
_UNEVEN_M = 0.001
"""What foam and long waves leave of a point, m (common practice, no source)."""


class Point(NamedTuple):
    """A volume, m3, and when it was, in the middle of its readings."""

    time: Instant
    volume_m3: float


class Line(NamedTuple):
    """A straight line through points: its slope, m3/s, and the slope's standard uncertainty."""

    slope: float
    uncertainty: float


class LevelPoints:
    """The points of one vessel."""

    def __init__(self, shape: Shape, sensor: SensorPlan) -> None:
        self.shape = shape
        self._every = sensor.every_seconds
        self._length = round(max(LENGTH_SECONDS, sensor.every_seconds) * SECOND)
        self._gap = self._length // _MOST
        self._begun: Instant = 0
        self.until: Instant = 0
        """A reading from then on closes the point under way."""
        self._latest: Instant = 0
        self._values: list[float] = []
        self._level = 0.0
        """Of the last point."""
        self.points: deque[Point] = deque(maxlen=KEPT)

    @property
    def length_seconds(self) -> float:
        """How long a point is."""
        return self._length / SECOND

    def add(self, time: Instant, level_m: float) -> Point | None:
        """Take a level; times must rise. The point that it closes, if it does."""
        point = self.close() if time >= self.until else None
        if not self._values:
            self._begun, self.until = time, time + self._length
        elif time - self._latest < self._gap:
            return point
        self._values.append(level_m)
        self._latest = time
        return point

    def close(self) -> Point | None:
        """End the point under way: what comes is another's; None where it has no reading."""
        if not self._values:
            return None
        level = self._level = median(self._values)
        point = Point((self._begun + self._latest) // 2, round(self.shape.volume_m3(level), 6))
        self._values = []
        self.until = 0
        self.points.append(point)
        return point

    def uncertainty_m3(self, noise_m: float) -> float:
        """Standard uncertainty of one point, m3, where single readings scatter by `noise_m`."""
        count = max(1.0, min(_MOST, self.length_seconds / self._every))
        spread = math.hypot(1.2533 * noise_m / math.sqrt(count), _UNEVEN_M)
        return spread * self.shape.area_m2(self._level)

    def since(self, time: Instant) -> list[Point]:
        """The points after an instant, oldest first."""
        found: list[Point] = []
        for point in reversed(self.points):
            if point[0] <= time:
                break
            found.append(point)
        found.reverse()
        return found

    def snapshot(self) -> list[Any]:
        """What is remembered, as plain data."""
        times = [self._begun, self.until, self._latest]
        points = [list(point) for point in self.points]
        return [times, list(self._values), self._level, points]

    def restore(self, data: list[Any]) -> None:
        """Become what `snapshot` wrote."""
        (self._begun, self.until, self._latest), values, self._level, points = data
        self._values = list(values)
        self.points = deque((Point(*point) for point in points), maxlen=KEPT)


def line_through(points: list[Point], sigma_m3: float) -> Line | None:
    """Least squares through three points or more, each known to `sigma_m3`; None of fewer."""
    n = len(points)
    if n < 3:
        return None
    base = points[0].time
    times = [(time - base) / SECOND for time, _ in points]
    mean_t = sum(times) / n
    mean_v = sum([volume for _, volume in points]) / n
    spread = sum([(t - mean_t) ** 2 for t in times])
    if spread <= 0.0:
        return None
    together = sum([(t - mean_t) * (v - mean_v) for t, (_, v) in zip(times, points, strict=True)])
    return Line(together / spread, sigma_m3 / math.sqrt(spread))


def mean_m3(points: list[Point]) -> float:
    """The mean volume of some points, one at least."""
    return sum(point.volume_m3 for point in points) / len(points)


def line_at(points: list[Point], at: Instant, sigma_m3: float) -> tuple[float, float, float] | None:
    """The line through three points or more at an instant: its height there, the height's
    standard uncertainty, and its slope, m3/s; None of fewer."""
    line = line_through(points, sigma_m3)
    if line is None:
        return None
    n = len(points)
    middle = sum(point.time for point in points) / n
    ahead = (at - middle) / SECOND
    height = mean_m3(points) + line.slope * ahead
    return height, math.hypot(sigma_m3 / math.sqrt(n), line.uncertainty * ahead), line.slope
