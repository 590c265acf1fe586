"""What is remembered of each sensor: its last word, its recent course, its record of bad values.

Mutable, but pure: a track is a function of the readings it was given. Each can be written to plain
data and read back, so that a restart goes on where it stopped.
"""

import math
from collections import deque
from statistics import median
from typing import Any

from brineward.plant.noise import Noise
from brineward.plant.plan import SensorPlan
from brineward.plant.repeats import Repeats
from brineward.plant.spikes import Spikes
from brineward.readings.instants import HOUR, SECOND, Instant

_SLOPE_STEP = 1e-9  # derived values are rounded before any comparison, so all processors agree


def _rounded(slope: float) -> float:
    return round(slope / _SLOPE_STEP) * _SLOPE_STEP


class SensorTrack:
    """The last word of one sensor and whether it can be believed."""

    __slots__ = (
        "asked",
        "bad_why",
        "contradicted",
        "doubt",
        "doubted",
        "heard",
        "late_since",
        "marks",
        "measured",
        "repeats",
        "silent_after",
        "spikes",
        "value",
    )

    def __init__(self, silent_after: Instant, sensor: SensorPlan | None = None) -> None:
        self.value: float | None = None
        self.measured: Instant = 0
        """When the last accepted value was measured; 0 before the first."""
        self.heard: Instant = 0
        """The time of the newest reading in its turn, even one with a bad value."""
        self.late_since: Instant = 0
        """When late readings began to arrive, with none in time since; 0 while they are in time."""
        self.marks = 0
        """The last sixteen readings, a bit each, newest lowest: 1 for bad."""
        self.bad_why = ""
        self.silent_after = silent_after
        """So old a word may be: as the config has it, or as the sensor itself asked."""
        self.asked: Instant | None = None
        self.repeats: Repeats | None = None
        self.spikes: Spikes | None = None
        # A switch rests by its nature, and what speaks on change says the same as long as it rests.
        if sensor is not None and not sensor.measures.is_switch and not sensor.on_change:
            self.repeats, self.spikes = Repeats(sensor.measures), Spikes(sensor)
        self.contradicted = ""
        """How other sensors show that this can't be so; empty while they don't."""
        self.doubt = ""
        """What its believable values show of it: `stuck`, `contradicted`, `spiking` or nothing."""
        self.doubted = False
        """Is it doubted so that nothing can be judged by it? A spike now and then is outvoted."""

    def habit(self, value: float, time: Instant) -> bool:
        """Look at a value that `good` is to take next: has its jump to be looked at, by `jump`?"""
        repeats, spikes, last = self.repeats, self.spikes, self.value
        if repeats is None or spikes is None:
            return False
        if repeats.add(time, value):
            self.reconsider()
        if last is None:
            return False
        step = value - last
        return step > spikes.far or -step > spikes.far or spikes.remembers

    def jump(self, value: float, time: Instant, *, counts: bool) -> None:
        """Look at the jump to a value that `good` is to take next; see `Spikes.add`."""
        if self.spikes is not None and self.value is not None:
            last, then = self.value, self.measured
            if self.spikes.add(time, last, then, value, counts=counts):
                self.reconsider()

    def reconsider(self) -> None:
        """Say anew what is to be doubted."""
        stuck = self.repeats is not None and self.repeats.stuck_at is not None
        self.doubted = stuck or self.contradicted != ""
        spiking = "spiking" if self.spikes is not None and self.spikes.spiking else ""
        self.doubt = "stuck" if stuck else "contradicted" if self.contradicted else spiking

    def good(self, value: float, time: Instant) -> None:
        """Take a believable value."""
        self.value = value
        self.measured = time
        self.heard = time
        if self.marks:
            self.marks = (self.marks << 1) & 0xFFFF

    def bad(self, why: str, time: Instant) -> None:
        """Take note of a value that can't be believed; the last good one stays."""
        self.heard = max(self.heard, time)
        self.marks = ((self.marks << 1) | 1) & 0xFFFF
        self.bad_why = why

    @property
    def implausible(self) -> bool:
        """Doubted, or three bad in a row, or half of the last sixteen: one spike says nothing."""
        if self.marks == 0:
            return self.doubted
        return self.doubted or self.nonsense

    @property
    def nonsense(self) -> bool:
        """Three bad in a row, or half of the last sixteen."""
        return self.marks & 0b111 == 0b111 or self.marks.bit_count() >= 8

    def fresh(self, now: Instant) -> bool:
        """Is there a value that is not too old to judge by?"""
        return self.value is not None and now - self.measured <= self.silent_after

    def believed(self, now: Instant) -> float | None:
        """The value, SI; None while nothing can be judged by it: too old, or not believable."""
        return self.value if self.fresh(now) and not self.implausible else None

    def freeze(self) -> list[Any]:
        """The track as plain data."""
        return [
            self.value,
            self.measured,
            self.heard,
            self.late_since,
            self.marks,
            self.bad_why,
            self.asked,
            self.contradicted,
            self.repeats and self.repeats.freeze(),
            self.spikes and self.spikes.freeze(),
        ]

    def thaw(self, data: list[Any]) -> None:
        """Become what `freeze` wrote."""
        self.value, self.measured, self.heard, self.late_since, self.marks = data[:5]
        self.bad_why, asked, self.contradicted, repeats, spikes = data[5:]
        if asked is not None:
            self.ask(asked)
        if self.repeats is not None and repeats is not None:
            self.repeats.thaw(repeats)
        if self.spikes is not None and spikes is not None:
            self.spikes.thaw(spikes)
        self.reconsider()

    def ask(self, silent_after: Instant) -> None:
        """The sensor says itself how long it may be silent."""
        self.asked = self.silent_after = silent_after


class Course:
    """The straight line through the last `window_seconds` of a quantity: where it is, how it goes.

    Least squares over the window. The slope's standard uncertainty is from the sensor's own, or
    from the residuals where they are larger: a surface that sloshes, a line with a bend.
    """

    __slots__ = (
        "_declared",
        "_gap",
        "_points",
        "_window",
        "level",
        "noise",
        "scatter",
        "slope",
        "slope_uncertainty",
    )

    def __init__(
        self, *, window_seconds: float, standard_uncertainty: float, gap_seconds: float = 0.0
    ) -> None:
        self._window = int(window_seconds * SECOND)
        self._gap = int(gap_seconds * SECOND)
        self._declared = standard_uncertainty
        self.noise = Noise(standard_uncertainty)
        """How noisy single values are, whatever the trend."""
        self._points: deque[tuple[Instant, float]] = deque()
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
        points.append((time, value))
        self.noise.add(value)
        oldest = time - self._window
        while points[0][0] < oldest:
            points.popleft()
        self._fit(time)

    def middle(self, span_seconds: float) -> tuple[float, int]:
        """The median of the readings of the last so many seconds, of three at least; how many.

        One wild reading doesn't move it. Valid once there is a reading.
        """
        points = self._points
        since = points[-1][0] - span_seconds * SECOND
        latest = [v for n, (t, v) in enumerate(reversed(points)) if t >= since or n < 3]
        return median(latest), len(latest)

    def _fit(self, newest: Instant) -> None:
        points = self._points
        n = len(points)
        if n < 4 or newest - points[0][0] < self._window // 2:
            self.level, self.slope, self.slope_uncertainty = points[-1][1], None, math.inf
            return
        base = points[-1][1]
        sum_t = sum_v = sum_tt = sum_tv = sum_vv = 0.0
        for time, value in points:
            t = (time - newest) / SECOND
            v = value - base
            sum_t += t
            sum_v += v
            sum_tt += t * t
            sum_tv += t * v
            sum_vv += v * v
        spread = sum_tt - sum_t * sum_t / n
        slope = (sum_tv - sum_t * sum_v / n) / spread
        left = sum_vv - sum_v * sum_v / n - slope * slope * spread
        self.scatter = math.sqrt(max(0.0, left) / (n - 2))
        self.slope = _rounded(slope)
        self.level = base + (sum_v - slope * sum_t) / n
        self.slope_uncertainty = max(self._declared, self.scatter) / math.sqrt(spread)

    def freeze(self) -> list[Any]:
        """The course as plain data."""
        return [[list(point) for point in self._points], self.noise.freeze()]

    def thaw(self, data: list[Any]) -> None:
        """Become what `freeze` wrote."""
        points, noise = data
        self.noise.thaw(noise)
        self._points = deque((time, value) for time, value in points)
        if self._points:
            self._fit(self._points[-1][0])


class UsualLow:
    """The lowest value of each hour of the last week: what is normal for a thermostat's swing."""

    __slots__ = ("_hours",)

    def __init__(self) -> None:
        self._hours: deque[tuple[int, float]] = deque()

    def add(self, time: Instant, value: float) -> None:
        """Take one value; times must rise."""
        hour = time // HOUR
        hours = self._hours
        if hours and hours[-1][0] == hour:
            if value < hours[-1][1]:
                hours[-1] = (hour, value)
            return
        hours.append((hour, value))
        while hours[0][0] < hour - 7 * 24:
            hours.popleft()

    def before(self, now: Instant) -> float | None:
        """The lowest of the week before the last hour and this; None where nothing is known."""
        latest = now // HOUR - 2
        known = [low for hour, low in self._hours if hour <= latest]
        return min(known, default=None)

    def freeze(self) -> list[Any]:
        """The hours as plain data."""
        return [list(hour) for hour in self._hours]

    def thaw(self, data: list[Any]) -> None:
        """Become what `freeze` wrote."""
        self._hours = deque((hour, low) for hour, low in data)


class Movement:
    """Whether a vessel's level is rising, falling or still, and since when.

    It starts to move when the slope passes `threshold` and three of its standard uncertainties,
    and is still again under half of that: so noise doesn't start and stop it.
    """

    __slots__ = ("_threshold", "direction", "since")

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

    def freeze(self) -> list[Any]:
        """The movement as plain data."""
        return [self.direction, self.since]

    def thaw(self, data: list[Any]) -> None:
        """Become what `freeze` wrote."""
        self.direction, self.since = data
