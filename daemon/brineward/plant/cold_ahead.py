"""How cold it may become: as cold outdoors as it was at its coldest in the last day.

The plainest forecast that needs no network: tomorrow is like today (persistence). Mutable, but
pure.
"""

from collections import deque
from collections.abc import Sequence
from typing import Any

from brineward.plant.plan import DepotPlan, Measure
from brineward.plant.sensors import SensorTracker
from brineward.plant.tracker import Tracker
from brineward.readings.instants import HOUR, Instant
from brineward.readings.outputs import Output

HOURS = 24
COLDER_K = 3.0
"""A night may be so much colder than the last (common practice, no source)."""


class ColdAhead(Tracker):
    """The lowest outdoor temperature of each hour of the last day."""

    name = "cold-ahead"

    def __init__(self, outdoors: SensorTracker) -> None:
        self.takes = {outdoors.plan.id: self._take}
        self._hours: deque[tuple[int, float]] = deque()

    def _take(self, time: Instant, value: float) -> Sequence[Output]:
        """Take an outdoor temperature in degC."""
        hour, hours = time // HOUR, self._hours
        if hours and hours[-1][0] == hour:
            if value < hours[-1][1]:
                hours[-1] = (hour, value)
            return ()
        hours.append((hour, value))
        while hours[0][0] <= hour - HOURS:
            hours.popleft()
        return ()

    def expected_c(self, now: Instant) -> float | None:
        """The temperature to be ready for, degC; None where the last day is not known."""
        lows = [low for hour, low in self._hours if hour > now // HOUR - HOURS]
        return min(lows) - COLDER_K if lows else None

    def snapshot(self) -> list[Any]:
        """What is remembered, as plain data."""
        return [list(hour) for hour in self._hours]

    def restore(self, data: list[Any]) -> None:
        """Become what `snapshot` wrote."""
        self._hours = deque((int(hour), float(low)) for hour, low in data)


def cold_ahead(plan: DepotPlan, sensors: dict[str, SensorTracker]) -> ColdAhead | None:
    """By the outdoor thermometer; None where there is none."""
    outdoors = plan.sensor_of(Measure.TEMPERATURE, "outdoors")
    return None if outdoors is None else ColdAhead(sensors[outdoors.id])
