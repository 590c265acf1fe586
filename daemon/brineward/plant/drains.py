"""Drains: a level that falls for long while no pump runs and nobody loads. Mutable, but pure."""

from typing import Any, NamedTuple

from brineward.plant.level_points import LevelPoints, Point, line_through
from brineward.readings.instants import MINUTE, SECOND, Instant

FALLS_M3_PER_S = 5e-5
"""A slower fall is a seep, and reported as a leak (common practice, no source)."""
FALL_SIGMAS = 4.0
LEAST_M3 = 0.1
QUIET = 5 * MINUTE
"""A drain that hasn't fallen for so long is shut."""
_SPAN = 300 * SECOND
_FEWEST = 5


class Draining(NamedTuple):
    """A drain under way: when it began, and the volume before."""

    began: Instant
    before_m3: float
    announced: bool
    last_fall: Instant


class Drained(NamedTuple):
    """A drain has begun or, with what left, ended."""

    began: Instant
    ended: Instant | None
    volume_m3: float | None


class Drains:
    """The drains of one vessel."""

    def __init__(self, points: LevelPoints, *, least_m3: float = LEAST_M3) -> None:
        self._points = points
        self._least_m3 = least_m3
        self.now: Draining | None = None

    def disturbed(self, time: Instant) -> list[Drained]:
        """Something else moves the level now: a drain under way has ended, as far as is known."""
        draining, self.now = self.now, None
        if draining is None or not draining.announced:
            return []
        points = self._points.points
        left = draining.before_m3 - points[-1].volume_m3 if points else 0.0
        return [Drained(draining.began, time, round(max(0.0, left), 6))]

    def point(self, point: Point, sigma_m3: float, since: Instant) -> list[Drained]:
        """A point is known; nothing else has moved the level since `since`."""
        points = self._points.since(max(point.time - _SPAN, since))
        line = line_through(points, sigma_m3) if len(points) >= _FEWEST else None
        draining = self.now
        falls = line is not None and -line.slope > max(
            FALLS_M3_PER_S, FALL_SIGMAS * line.uncertainty
        )
        if draining is None:
            if falls:
                first = points[0]
                self.now = Draining(first.time, first.volume_m3, False, point.time)
            return []
        if falls:
            draining = self.now = draining._replace(last_fall=point.time)
        left = draining.before_m3 - point.volume_m3
        if point.time - draining.last_fall >= QUIET:
            self.now = None
            if not draining.announced:
                return []
            return [Drained(draining.began, draining.last_fall, round(max(0.0, left), 6))]
        if not draining.announced and left > max(self._least_m3, FALL_SIGMAS * sigma_m3):
            self.now = draining._replace(announced=True)
            return [Drained(draining.began, None, None)]
        return []

    def snapshot(self) -> list[Any] | None:
        """What is remembered, as plain data."""
        return self.now and list(self.now)

    def restore(self, data: list[Any] | None) -> None:
        """Become what `snapshot` wrote."""
        self.now = None if data is None else Draining(*data)
