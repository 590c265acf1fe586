"""A pump's current that reads zero while the pump delivers. Mutable, but pure.

A current sensor that is stuck at zero, or whose clamp has come off, reads what a healthy one does
while the pump is stopped. What the hose delivers shows the difference.
"""

from collections.abc import Sequence
from typing import Any

from brineward.plant.plan import DepotPlan, Measure
from brineward.plant.pumps import PumpTracker
from brineward.plant.sensors import SensorTracker
from brineward.plant.tracker import Tracker
from brineward.readings.instants import SECOND, Instant
from brineward.readings.outputs import Output

NO_CURRENT = "shows no current though the pump delivers"
NOTHING = 4.0
"""A current of so many of its own standard uncertainties or less is none (common practice, no
source)."""
IDLE_SECONDS = 60.0
"""How long both must last (common practice, no source)."""


class IdleCurrentTracker(Tracker):
    """The current of one pump, beside its switch and the meter in its hose."""

    def __init__(self, pump: PumpTracker, current: SensorTracker, meter: SensorTracker) -> None:
        self.name = f"idle-current/{pump.pump.id}"
        self.takes = {current.plan.id: self._take}
        self._pump, self._current, self._meter = pump, current, meter
        self.idle = False
        """Has it shown nothing all the while? Until it shows more."""
        self._since: Instant | None = None
        """Since when it has; None while it hasn't."""
        self._last: Instant = 0

    def _take(self, time: Instant, value: float) -> Sequence[Output]:
        flow = self._meter.believed(time) if self._pump.running else None
        if self.note(time, value, flow):
            self._current.contradict(NO_CURRENT if self.idle else "")
        return ()

    def note(self, time: Instant, current_a: float, flow_m3_per_s: float | None) -> bool:
        """Take the current, and the flow of a pump that runs: else, or if unknown, None.

        Returns whether `idle` changed. Times must rise.
        """
        was, plan = self.idle, self._current.plan
        if time - self._last > plan.silent_after_seconds * SECOND:
            self._since = None  # what was in between nobody knows
        self._last = time
        if current_a > NOTHING * plan.standard_uncertainty:
            self._since, self.idle = None, False
        elif not self._pump.pump.delivers(flow_m3_per_s):
            self._since = None
        elif self._since is None:
            self._since = time
        elif time - self._since >= IDLE_SECONDS * SECOND:
            self.idle = True
        return self.idle != was

    def snapshot(self) -> list[Any]:
        """What is remembered, as plain data."""
        return [self.idle, self._since, self._last]

    def restore(self, data: list[Any]) -> None:
        """Become what `snapshot` wrote."""
        self.idle, self._since, self._last = data


def idle_current_trackers(
    plan: DepotPlan, sensors: dict[str, SensorTracker], pumps: dict[str, PumpTracker]
) -> list[IdleCurrentTracker]:
    """Each pump's current, where a switch says that it runs and a meter that it delivers."""
    found = []
    for pump in pumps.values():
        current = plan.sensor_of(Measure.CURRENT, pump.pump.id)
        meter = plan.sensor_of(Measure.FLOW, pump.pump.id)
        if current and meter:
            found.append(IdleCurrentTracker(pump, sensors[current.id], sensors[meter.id]))
    return found
