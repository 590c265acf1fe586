"""A pump's current that says nothing while the pump delivers. Mutable, but pure.

A current that is stuck at nothing, or whose clamp has come off, says what a healthy one does while
the pump stands. What the hose delivers shows it.
"""

from dataclasses import dataclass
from typing import Any

from brineward.plant.plan import DepotPlan, Measure, Pump, SensorPlan
from brineward.readings.instants import SECOND, Instant

NOTHING = 4.0
"""A current of so many of its own standard uncertainties or less is none (common practice, no
source)."""
IDLE_SECONDS = 60.0
"""So long both must last (common practice, no source)."""


@dataclass(slots=True, kw_only=True)
class IdleCurrent:
    """The current of one pump, and the two that can speak against it."""

    pump: Pump
    current: SensorPlan
    meter: SensorPlan
    """The flow in its hose."""
    idle: bool = False
    """Has it said nothing all the while? Until it says more."""
    since: Instant | None = None
    """Since when it has; None while it hasn't."""
    last: Instant = 0
    """When it last spoke."""

    def note(self, time: Instant, current_a: float, flow_m3_per_s: float | None) -> bool:
        """Take the current, and the flow of a pump that runs: else, or if unknown, None.

        Returns whether `idle` changed. Times must rise.
        """
        was = self.idle
        if time - self.last > self.current.silent_after_seconds * SECOND:
            self.since = None  # what was in between nobody knows
        self.last = time
        if current_a > NOTHING * self.current.standard_uncertainty:
            self.since, self.idle = None, False
        elif not self.pump.delivers(flow_m3_per_s):
            self.since = None
        elif self.since is None:
            self.since = time
        elif time - self.since >= IDLE_SECONDS * SECOND:
            self.idle = True
        return self.idle != was

    def freeze(self) -> list[Any]:
        """What is remembered, as plain data."""
        return [self.idle, self.since, self.last]

    def thaw(self, data: list[Any]) -> None:
        """Become what `freeze` wrote."""
        self.idle, self.since, self.last = data


def idle_currents_of(plan: DepotPlan) -> dict[str, IdleCurrent]:
    """By pump: its current, where a switch says that it runs and a meter that it delivers."""
    found = {}
    for pump in plan.pumps.values():
        current = plan.sensor_of(Measure.CURRENT, pump.id)
        meter = plan.sensor_of(Measure.FLOW, pump.id)
        if current and meter and plan.sensor_of(Measure.RUNNING, pump.id):
            found[pump.id] = IdleCurrent(pump=pump, current=current, meter=meter)
    return found
