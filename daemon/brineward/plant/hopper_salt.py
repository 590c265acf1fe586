"""The bed of salt in a hopper: how high it is, when it was last filled, how fast it is used.

Mutable, but pure. A salt-level sensor is coarse and noisy, and a bed is no plane: it is judged by
the median of many readings, and a rise counts as a filling only where it is far beyond that noise.
"""

from collections import deque
from collections.abc import Sequence
from typing import Any

from brineward.plant.course import median
from brineward.plant.plan import DepotPlan, Measure, Vessel, VesselKind
from brineward.plant.recent_use import RecentUse
from brineward.plant.sensors import SensorTracker
from brineward.plant.tracker import Tracker, shifted
from brineward.readings.instants import DAY, HOUR, MINUTE, SECOND, Instant
from brineward.readings.outputs import Output

MEDIAN_OF = 9
"""The bed is the median of so many readings."""
FEWEST = 5
"""It isn't known from fewer."""
FILLING_M = 0.10
"""A bed that rises by so much was filled: a bucket or two don't show (common practice, no source).
"""
FILLING_LASTS = HOUR
"""Buckets tipped in within this time are one filling."""
HALF = 0.5
BULK_DENSITY = 1200.0
"""Loose rock salt, kg/m3 (about 75 lb/ft3, from memory)."""
LEAST_USE_M = 0.02
"""Less in a day is the sensor's own noise, and in longer."""

_READING_GAP = 30 * SECOND
_BROKEN_OFF = 30 * MINUTE  # after a longer silence the readings before it don't count
_BEYOND_NOISE_M = 0.02


class HopperSalt(Tracker):
    """One hopper's bed of salt."""

    lasting = True

    def __init__(self, vessel: Vessel, sensor: SensorTracker) -> None:
        self.vessel = vessel
        self.sensor = sensor
        self.name = f"salt/{vessel.id}"
        self.takes = {sensor.plan.id: self._take}
        self._latest: deque[float] = deque(maxlen=MEDIAN_OF)
        self._last: Instant = 0
        self.bed_m: float | None = None
        """Its height; None before enough readings."""
        self.full_m = 0.0
        """Its height after the last filling, or when it was first known."""
        self.filled: Instant = 0
        """When that was."""
        self.halved: Instant = 0
        """When it fell under half of that; 0 where it has not since the filling."""
        self._low_m = 0.0
        self._used_m = 0.0
        """What was used since the beginning, m of bed: fillings don't count."""
        self._use = RecentUse()

    def _take(self, time: Instant, value: float) -> Sequence[Output]:
        """Take one height of the bed in m."""
        if time - self._last < _READING_GAP:
            return ()
        if time - self._last > _BROKEN_OFF:
            self._latest.clear()
        self._last = time
        self._latest.append(value)
        if len(self._latest) >= FEWEST:
            self._found(time, round(median(list(self._latest)), 4))
        return ()

    def _found(self, time: Instant, bed_m: float) -> None:
        first = self.bed_m is None
        self.bed_m = bed_m
        filling = not first and time - self.filled <= FILLING_LASTS and bed_m > self.full_m
        if first or filling or bed_m > self._low_m + FILLING_M:
            if first or not filling:
                self.filled = time
            self.full_m = self._low_m = bed_m
            self.halved = 0
        elif bed_m < self._low_m:
            self._used_m += self._low_m - bed_m
            self._low_m = bed_m
        if not self.halved and bed_m < HALF * self.full_m - _BEYOND_NOISE_M:
            self.halved = time
        self._use.note(time, self._used_m)

    def known(self, now: Instant) -> bool:
        """Is there a bed to judge by, from a sensor that is believed?"""
        return self.bed_m is not None and self.sensor.believed(now) is not None

    def use_m_per_s(self, now: Instant, over: Instant = DAY) -> float | None:
        """How fast the bed went down in so long, m/s; None where that isn't known."""
        found = self._use.since(now, self._used_m, over)
        return None if found is None or found[0] < LEAST_USE_M else found[0] / found[1]

    def salt_kg(self) -> float:
        """About how much salt is left, kg; 0 before the bed is known."""
        bed_m = max(0.0, self.bed_m or 0.0)
        return self.vessel.shape.volume_m3(bed_m) * BULK_DENSITY

    def shift(self, by: Instant) -> None:
        """The clock was set: shift what is remembered by `by` milliseconds."""
        self._last = shifted(self._last, by)
        self.filled, self.halved = shifted(self.filled, by), shifted(self.halved, by)
        self._use.shift(by)

    def snapshot(self) -> list[Any]:
        """What is remembered, as plain data."""
        return [
            list(self._latest),
            [self._last, self.filled, self.halved],
            [self.bed_m, self.full_m, self._low_m, self._used_m],
            self._use.snapshot(),
        ]

    def restore(self, data: list[Any]) -> None:
        """Become what `snapshot` wrote."""
        latest, times, (bed_m, *heights), hours = data
        self._last, self.filled, self.halved = map(int, times)
        self.full_m, self._low_m, self._used_m = map(float, heights)
        self.bed_m = None if bed_m is None else float(bed_m)
        self._latest = deque(map(float, latest), maxlen=MEDIAN_OF)
        self._use.restore(hours)


def hopper_salts(plan: DepotPlan, sensors: dict[str, SensorTracker]) -> list[HopperSalt]:
    """The bed of each hopper whose salt level is measured."""
    return [
        HopperSalt(vessel, sensors[sensor.id])
        for vessel in plan.vessels.values()
        if vessel.kind is VesselKind.HOPPER
        and (sensor := plan.sensor_of(Measure.SALT_LEVEL, vessel.id)) is not None
    ]
