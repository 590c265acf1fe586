"""How a tank's level responds to the pump that draws from it. Mutable, but pure."""

import math
from collections import deque
from collections.abc import Callable
from typing import Any, NamedTuple

from brineward.plant.course import rounded
from brineward.plant.noise import Noise
from brineward.plant.plan import DepotPlan, Pump
from brineward.readings.instants import SECOND, Instant

SHARE_SURE = 0.15
"""The fall is known once its standard uncertainty is under this share of what is expected."""

_SPANS_SECONDS = (60.0, 90.0, 180.0)
_TURNS_SECONDS = (40.0, 50.0)
_LONGEST_BEFORE = 90 * SECOND
_FEWEST_BEFORE = 4
_MOST_POINTS = 512  # evenly spread over the longest span, however fast the level reports


def slowest_fall_m_per_s(plan: DepotPlan, pump: Pump) -> float:
    """The slowest fall that a healthy pump makes, with the fill running; 0 where there is none."""
    vessel = plan.vessels[pump.draws_from]
    fills = sum(fill.flow_m3_per_s for fill in plan.fills if fill.into == vessel.id)
    area = vessel.shape.area_m2(vessel.brim_m / 2)
    return max(0.0, (pump.flow_m3_per_s - fills) / area)


class Before(NamedTuple):
    """The end of the line through the level before a start."""

    level: float
    weight: float
    """Its weight, in single readings."""
    squares: float
    """The sum of its residuals' squares."""
    freedom: int


class Fall(NamedTuple):
    """How fast a level falls, m/s, and its standard uncertainty."""

    drop: float
    uncertainty: float

    @property
    def at_most(self) -> float:
        """The upper end of its expanded uncertainty, with a coverage factor of 2."""
        return self.drop + 2 * self.uncertainty


class PumpRun:
    """How the level responds to a running pump: a straight line through the readings of the run.

    `drop` is the fall a second, `drop_uncertainty` its standard one. At first the level before
    the start helps: it is the end of a line through what was read since the pump last stopped, and
    counts as an observation of its own weight. Later the shortest of three spans that is sure
    enough is taken. Before them all, so that a valve shut during the run shows soon, come two
    shorter ones, each helped in the same way by the end of the line through the minute and a half
    before it; of these the one is taken that shows the slower fall.
    """

    def __init__(
        self, *, noise: Noise, every_seconds: float, expected_m_per_s: Callable[[], float]
    ) -> None:
        self._noise = noise
        self._expected = expected_m_per_s
        """What the fall is measured against; less where other pumps draw too."""
        # Six readings at least, however seldom they come.
        scale = max(1.0, every_seconds / 10.0)
        self._spans = tuple(round(seconds * scale * SECOND) for seconds in _SPANS_SECONDS)
        self._turns = tuple(round(seconds * scale * SECOND) for seconds in _TURNS_SECONDS)
        self._points: deque[tuple[Instant, float]] = deque()
        self._before: Before | None = None
        self._changed: Instant = 0
        """When the pump last started or stopped: older levels are another line's."""
        self.started: Instant | None = None
        self.drop: float | None = None
        self.drop_uncertainty = math.inf
        self.early = False
        """Is the level before the start part of the line?"""
        self.turned = False
        """Is it the fall since one of the two turns?"""

    def start(self, time: Instant, *, seen: bool) -> None:
        """The pump began to run; if it was not `seen` at rest, no level before it counts."""
        self._before = self._line_before(time, self._changed) if seen else None
        self.started = self._changed = time
        self._forget()

    def bend(self, time: Instant) -> None:
        """Another pump began or ceased to draw from the same vessel: another line begins."""
        if self.started is None:
            self.stop(time)
        else:
            self.start(time, seen=True)

    def stop(self, time: Instant) -> None:
        """The pump stopped."""
        self.started, self._before = None, None
        self._changed = time
        self._forget()

    def _forget(self) -> None:
        self._points.clear()
        self.drop, self.drop_uncertainty = None, math.inf

    def add(self, time: Instant, level_m: float) -> None:
        """Take a level, whether the pump runs or not; times must rise."""
        if time <= self._changed:
            return
        points = self._points
        if points and time - points[-1][0] < self._spans[-1] // _MOST_POINTS:
            return
        points.append((time, level_m))
        longest = self._spans[-1] if self.started is not None else _LONGEST_BEFORE
        while time - points[0][0] > longest:
            points.popleft()
        if self.started is not None:
            self._fit(time, self.started)

    def _line_before(self, start: Instant, since: Instant) -> Before | None:
        """The line through what was read before `start`, not older than `since`."""
        oldest = max(since, start - _LONGEST_BEFORE)
        points = [(t, v) for t, v in self._points if oldest <= t <= start]
        n = len(points)
        if n < _FEWEST_BEFORE:
            return None
        base = points[-1][1]
        times = [(time - start) / SECOND for time, _ in points]
        values = [value - base for _, value in points]
        mean_t, mean_v = sum(times) / n, sum(values) / n
        spread = sum((t - mean_t) ** 2 for t in times)
        slope = sum((t - mean_t) * v for t, v in zip(times, values, strict=True)) / spread
        squares = sum(
            (v - mean_v - slope * (t - mean_t)) ** 2 for t, v in zip(times, values, strict=True)
        )
        end = mean_v - slope * mean_t
        weight = 1.0 / (1.0 / n + mean_t * mean_t / spread)
        return Before(base + end, weight, squares, n - 2)

    def _fit(self, newest: Instant, started: Instant) -> None:
        self.early = False
        turned = self._since_a_turn(newest, started) if newest - started > self._spans[0] else None
        self.turned = turned is not None
        if turned is not None:
            self._take(turned)
            return
        for span in self._spans:
            # The level before the run is part of the line while the span reaches back to it.
            before = self._before if newest - started <= span else None
            self.early = before is not None
            self._take(self._fall(max(newest - span, started), started, before))
            if newest - started <= span or self.sure:
                return

    def _since_a_turn(self, newest: Instant, started: Instant) -> Fall | None:
        """The slower of the falls since the turns, from where the run's line had come."""
        falls = []
        for span in self._turns:
            turn = newest - span
            before = self._line_before(turn, started)
            fall = None if before is None else self._fall(turn + 1, turn, before)
            if fall is not None and self._known(fall.uncertainty):
                falls.append(fall)
        return min(falls, key=lambda fall: fall.at_most, default=None)

    def _take(self, fall: Fall | None) -> None:
        self.drop, self.drop_uncertainty = fall or (None, math.inf)

    @property
    def sure(self) -> bool:
        """Is the fall known well enough to be judged?"""
        return self._known(self.drop_uncertainty)

    def surely(self, expected_m_per_s: float) -> bool:
        """Is the fall known well enough to be held against this one?"""
        return self.drop is not None and self.drop_uncertainty <= SHARE_SURE * expected_m_per_s

    def _known(self, uncertainty: float) -> bool:
        return uncertainty <= SHARE_SURE * self._expected()

    def _fall(self, since: Instant, begin: Instant, before: Before | None) -> Fall | None:
        """Least squares from `since` on, the level before being one at `begin` of its weight."""
        points = [(time, level) for time, level in self._points if time >= since]
        if len(points) + (before is not None) < 3:
            return None
        base = before.level if before else points[0][1]
        weight = (before.weight if before else 0.0) + len(points)
        sum_t = sum_v = sum_tt = sum_tv = sum_vv = 0.0
        for time, level in points:
            t = (time - begin) / SECOND
            v = level - base
            sum_t += t
            sum_v += v
            sum_tt += t * t
            sum_tv += t * v
            sum_vv += v * v
        spread = sum_tt - sum_t * sum_t / weight
        slope = (sum_tv - sum_t * sum_v / weight) / spread
        left = max(0.0, sum_vv - sum_v * sum_v / weight - slope * slope * spread)
        freedom = len(points) - 2
        if before is not None:
            left += before.squares
            freedom += 1 + before.freedom
        return Fall(rounded(-slope), self._noise_shown(left, freedom) / math.sqrt(spread))

    def _noise_shown(self, squares: float, freedom: int) -> float:
        """The readings' own noise, or what a line that fits badly shows: a spike, a sudden change.

        Badly: worse than noise makes it once in a thousand times. The sum of squares over the
        variance has the mean `freedom` and twice that as its own variance.
        """
        usual = freedom + 3.1 * math.sqrt(2 * freedom)
        known = self._noise.variance
        return math.sqrt(known if squares <= usual * known else squares / freedom)

    def snapshot(self) -> list[Any]:
        """The run as plain data."""
        before = None if self._before is None else list(self._before)
        points = [list(point) for point in self._points]
        # Not fitted again: the level's noise may have been learned better since.
        fall = None if self.drop is None else [self.drop, self.drop_uncertainty]
        return [self.started, self._changed, before, points, fall, self.early, self.turned]

    def restore(self, data: list[Any]) -> None:
        """Become what `snapshot` wrote."""
        self.started, self._changed, before, points, fall, self.early, self.turned = data
        self._before = None if before is None else Before(*before)
        self._points = deque((time, level) for time, level in points)
        self._take(None if fall is None else Fall(*fall))
