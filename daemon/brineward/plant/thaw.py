"""When it was last warm enough outdoors for rain or melt water: no rain gauge says so."""

from collections.abc import Sequence
from typing import Any

from brineward.plant.plan import DepotPlan, Measure
from brineward.plant.sensors import SensorTracker
from brineward.plant.tracker import Tracker
from brineward.readings.instants import HOUR, Instant
from brineward.readings.outputs import Output

FREEZING_C = 0.0
GAP = HOUR
"""Nothing is known of the weather in a longer silence of the thermometer."""


class ThawTracker(Tracker):
    """The last time at which the outdoors was above freezing."""

    name = "thaw"

    def __init__(self, sensor: SensorTracker) -> None:
        self.takes = {sensor.plan.id: self._take}
        self._first: Instant | None = None
        """Since when it has reported without a gap."""
        self._last: Instant = 0
        self._warm: Instant | None = None

    def warm_since(self, instant: Instant) -> bool | None:
        """Was it above freezing at any time since then? None where it isn't known for so long."""
        if self._warm is not None and self._warm >= instant:
            return True
        return False if self._first is not None and self._first <= instant else None

    def _take(self, time: Instant, celsius: float) -> Sequence[Output]:
        if self._first is None or time - self._last > GAP:
            self._first = time
        self._last = time
        if celsius > FREEZING_C:
            self._warm = time
        return ()

    def snapshot(self) -> list[Any]:
        """What is remembered, as plain data."""
        return [self._first, self._last, self._warm]

    def restore(self, data: list[Any]) -> None:
        """Become what `snapshot` wrote."""
        self._first, self._last, self._warm = data


def thaw_tracker(plan: DepotPlan, sensors: dict[str, SensorTracker]) -> ThawTracker | None:
    """By the thermometer outdoors; None where there is none."""
    outdoors = plan.sensor_of(Measure.TEMPERATURE, "outdoors")
    return None if outdoors is None else ThawTracker(sensors[outdoors.id])
