"""The shelter's temperature: its course, its usual low, its usual fall while the heater rests."""

from collections.abc import Sequence
from typing import Any

from brineward.plant.course import Course, UsualLow
from brineward.plant.resting_fall import RestingFall
from brineward.plant.sensors import SensorTracker
from brineward.plant.tracker import Tracker
from brineward.readings.instants import Instant
from brineward.readings.outputs import Output

SPAN_SECONDS = 180.0
"""The shelter's temperature is the median of so many seconds: one wild reading is none."""


class ShelterTracker(Tracker):
    """What the shelter's thermometer has shown."""

    name = "shelter"

    def __init__(self, sensor: SensorTracker, outdoors: SensorTracker | None) -> None:
        every_seconds = sensor.plan.every_seconds
        self.takes = {sensor.plan.id: self._take}
        self.sensor = sensor
        self._outdoors = outdoors
        self.course = Course(
            window_seconds=max(900.0, 6 * every_seconds),
            standard_uncertainty=sensor.plan.standard_uncertainty,
            gap_seconds=20.0,
        )
        self.low = UsualLow()
        self.fall = RestingFall(every_seconds)

    def outdoors_c(self, now: Instant) -> float | None:
        """The temperature outdoors in degC; None where it isn't known."""
        return None if self._outdoors is None else self._outdoors.believed(now)

    def _take(self, time: Instant, value: float) -> Sequence[Output]:
        self.course.add(time, value)
        self.low.add(time, self.course.middle(SPAN_SECONDS)[0])
        self.fall.add(time, value)
        return ()

    def snapshot(self) -> list[Any]:
        """What is remembered, as plain data."""
        return [self.course.snapshot(), self.low.snapshot(), self.fall.snapshot()]

    def restore(self, data: list[Any]) -> None:
        """Become what `snapshot` wrote."""
        course, low, fall = data
        self.course.restore(course)
        self.low.restore(low)
        self.fall.restore(fall)
