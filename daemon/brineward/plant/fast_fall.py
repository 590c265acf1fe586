"""A standing tank that empties fast: known in minutes, where the test of slow losses takes an hour.

Mutable, but pure. Its level falls minute after minute, about as far in each, while every pump that
draws from it is known to be stopped: no sensor that somebody moved, no bucket, no wave does that. A
minute counts once a later report of each pump's switch says that it was stopped still.
"""

from collections import deque
from collections.abc import Sequence
from itertools import pairwise
from typing import Any

from brineward.plant.course import median
from brineward.plant.levels import LevelTracker
from brineward.plant.mode import ModeTracker
from brineward.plant.plan import DepotPlan
from brineward.plant.pumps import PumpTracker
from brineward.plant.standing import EMPTIED, band_m
from brineward.plant.tracker import Tracker
from brineward.readings.instants import HOUR, MINUTE, SECOND, Instant
from brineward.readings.outputs import Output

WAIT = 2 * MINUTE
"""How long after a load its waves are not taken for a fall (common practice, no source)."""
FALLS = 6
"""It must fall in so many minutes running,"""
STEADY = 2.0
"""in none of them more than so many times as far as in the mean, nor less than the same share
(common practice, no source): a float that opens meanwhile takes a quarter off."""

_FEWEST = 6
"""Readings of a minute; it is longer where a sensor reports more rarely."""
_MOST = 16  # readings of a minute, evenly spread, however fast they come
_KEPT = FALLS + 10  # minutes: a switch may report that much later


class FastFall(Tracker):
    """One tank of brine: does it empty fast while nothing draws from it?"""

    def __init__(
        self,
        level: LevelTracker,
        plan: DepotPlan,
        *,
        pumps: Sequence[PumpTracker],
        mode: ModeTracker,
    ) -> None:
        sensor = level.sensor.plan
        self.name = f"fast-fall/{level.vessel.id}"
        self.takes = {sensor.id: self._take}
        self.losing = False
        self.since: Instant = 0
        """When it began to fall, as far as is known."""
        self.fell_m = self.lost_m3 = self.hours = 0.0
        """How far it fell since, how much that is, and in how long."""
        self.rate_m3_per_h = 0.0
        """How fast it empties, by the last minutes in which it did."""
        self._level, self._pumps, self._mode = level, tuple(pumps), mode
        drawing = [one for one in plan.pumps.values() if one.draws_from == level.vessel.id]
        self._limit_m = band_m(sensor)
        self._length = max(MINUTE, round(_FEWEST * sensor.every_seconds * SECOND))
        # Between two reports of a switch that reports rarely a whole load may lie.
        often = self._length / SECOND
        switches = [one.switch.plan for one in self._pumps]
        self._pumps_known = len(self._pumps) == len(drawing) and all(
            one.on_change or one.every_seconds <= often for one in switches
        )
        longest = max(2 * sensor.every_seconds, sensor.silent_after_seconds)
        self._longest_gap = round(longest * SECOND)
        self._last: Instant = 0
        self._quiet_from: Instant = 0
        self._begun: Instant = 0
        """When the minute under way began."""
        self._values: list[float] = []
        self._points: deque[tuple[Instant, float]] = deque(maxlen=_KEPT)
        """The end of each minute, and its level."""
        self._seen: Instant = 0
        """The newest of them that was judged."""

    def _take(self, time: Instant, value: float) -> Sequence[Output]:
        last, self._last = self._last, time
        if self._disturbed(last, time):
            self._quiet_from = self._begun = time + WAIT
            self._values = []
            self._points.clear()
        elif time >= self._quiet_from:
            if time >= self._begun + self._length:
                self._close(time)
            if len(self._values) * self._length <= (time - self._begun) * _MOST:
                self._values.append(value)
        return ()

    def _disturbed(self, last: Instant, time: Instant) -> bool:
        """Does a pump draw from it, or is that or the level itself not known?"""
        if self._mode.mode in EMPTIED:
            self._forget()
            return True
        if time - last > self._longest_gap or self._level.sensor.implausible:
            return True
        return not (self._pumps_known and all(one.stood(last, time) for one in self._pumps))

    def _close(self, time: Instant) -> None:
        """A minute is over."""
        values, self._values = self._values, []
        self._begun = time
        if len(values) < _FEWEST // 2:
            self._points.clear()
            return
        self._points.append((time, median(values)))
        sure = min((one.switch.measured for one in self._pumps), default=time)
        known = [point for point in self._points if point[0] <= sure]
        if len(known) > FALLS and known[-1][0] > self._seen:
            self._judge(known[-FALLS - 1 :])
            self._seen = known[-1][0]

    def _judge(self, points: list[tuple[Instant, float]]) -> None:
        (begin, top), (end, low) = points[0], points[-1]
        fell, hours = round(top - low, 6), (end - begin) / HOUR
        mean = fell / FALLS
        falls = [round(a[1] - b[1], 6) for a, b in pairwise(points)]
        steady = all(mean / STEADY <= one <= mean * STEADY for one in falls)
        volume_m3 = self._level.vessel.shape.volume_m3
        rate = (volume_m3(top) - volume_m3(low)) / hours
        if fell > self._limit_m and steady:
            if not self.losing:
                self._forget()
                self.losing, self.since = True, begin
                self._add(points[0], points[-1])
            else:
                self._add(points[-2], points[-1])
            # By the middle one: it began within the first, or the float opened within the last.
            self.rate_m3_per_h = rate * median(falls) / mean
        elif self.losing and rate < self.rate_m3_per_h / 2:
            self._forget()

    def _add(self, before: tuple[Instant, float], after: tuple[Instant, float]) -> None:
        volume_m3 = self._level.vessel.shape.volume_m3
        self.fell_m += before[1] - after[1]
        self.lost_m3 += volume_m3(before[1]) - volume_m3(after[1])
        self.hours += (after[0] - before[0]) / HOUR

    def _forget(self) -> None:
        self.losing, self.since = False, 0
        self.fell_m = self.lost_m3 = self.hours = self.rate_m3_per_h = 0.0

    def snapshot(self) -> list[Any]:
        """What is remembered, as plain data."""
        return [
            [self.losing, self.since, self.fell_m, self.lost_m3, self.hours, self.rate_m3_per_h],
            [self._last, self._quiet_from, self._begun, self._seen],
            [list(self._values), [list(one) for one in self._points]],
        ]

    def restore(self, data: list[Any]) -> None:
        """Become what `snapshot` wrote."""
        known, times, (values, points) = data
        self.losing, self.since, self.fell_m, self.lost_m3, self.hours, self.rate_m3_per_h = known
        self._last, self._quiet_from, self._begun, self._seen = times
        self._values = list(values)
        self._points = deque(((time, level) for time, level in points), maxlen=_KEPT)
