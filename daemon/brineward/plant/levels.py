"""One vessel's level: its course, whether it moves, how often it fell since it stood still."""

from collections.abc import Sequence
from typing import Any

from brineward.plant.course import Course, Movement
from brineward.plant.plan import DepotPlan, Measure, Vessel
from brineward.plant.sensors import SensorTracker
from brineward.plant.tracker import Tracker
from brineward.readings.instants import MINUTE, Instant
from brineward.readings.outputs import Output

SETTLE = 3 * MINUTE
"""How long after the level stopped moving a batch is taken as blended (common practice, no
source: a jet of brine into a standing tank stirs it for a few minutes)."""


class LevelTracker(Tracker):
    """One vessel's level: its course and whether it moves."""

    version = 2

    def __init__(self, plan: DepotPlan, vessel: Vessel, sensor: SensorTracker) -> None:
        self.name = f"level/{vessel.id}"
        self.takes = {sensor.plan.id: self._take}
        self.vessel = vessel
        self.sensor = sensor
        self.course = Course(
            window_seconds=max(180.0, 6 * sensor.plan.every_seconds),
            standard_uncertainty=sensor.plan.standard_uncertainty,
        )
        self.fill_m_per_s: float | None = None
        """How fast the declared fill raises it at half height; None where none is declared."""
        slowest = 5e-5
        for fill in plan.fills:
            if fill.into == vessel.id:
                self.fill_m_per_s = fill.flow_m3_per_s / vessel.shape.area_m2(vessel.brim_m / 2)
                slowest = 0.35 * self.fill_m_per_s
        self.movement = Movement(slowest)
        self.falls = 0
        """How often it began to fall since it last stood still for `SETTLE`: loads, that is."""

    def settled(self, now: Instant) -> bool | None:
        """Has it stood still long enough to be blended? None where it isn't known."""
        if self.course.slope is None or not self.sensor.fresh(now):
            return None
        return self.movement.direction == 0 and now - self.movement.since >= SETTLE

    def _take(self, time: Instant, value: float) -> Sequence[Output]:
        """Take one level in m."""
        self.course.add(time, value)
        was, since = self.movement.direction, self.movement.since
        if not self.movement.update(self.course, time):
            return ()
        if was == 0 and time - since >= SETTLE:
            self.falls = 0
        if self.movement.direction < 0:
            self.falls += 1
        return ()

    def snapshot(self) -> list[Any]:
        """What is remembered, as plain data."""
        return [self.course.snapshot(), self.movement.snapshot(), self.falls]

    def restore(self, data: list[Any]) -> None:
        """Become what `snapshot` wrote."""
        course, movement, self.falls = data
        self.course.restore(course)
        self.movement.restore(movement)


def level_trackers(plan: DepotPlan, sensors: dict[str, SensorTracker]) -> list[LevelTracker]:
    """The level of each vessel that has one."""
    return [
        LevelTracker(plan, vessel, sensors[level.id])
        for vessel in plan.vessels.values()
        if (level := plan.sensor_of(Measure.LEVEL, vessel.id)) is not None
    ]
