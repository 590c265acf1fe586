"""Where the depot has power: its mains and its outlets, by their switches. Mutable, but pure."""

from collections.abc import Sequence
from functools import partial
from typing import Any

from brineward.plant.plan import DepotPlan, Measure
from brineward.plant.sensors import SensorTracker
from brineward.plant.tracker import Tracker
from brineward.readings.instants import MINUTE, SECOND, Instant
from brineward.readings.outputs import Output

MAINS = "mains"
"""Where a switch is that watches the depot's supply, before all its outlets."""

TOGETHER = 2 * MINUTE
"""Outlets that die within this time die of one cause (common practice, no source). A switch that is
only polled shows it up to its period later."""


class PowerTracker(Tracker):
    """Since when each outlet, and so perhaps the mains, has had no power."""

    name = "power"

    def __init__(self, plan: DepotPlan, sensors: dict[str, SensorTracker]) -> None:
        power = [s for s in plan.sensors.values() if s.measures is Measure.POWER]
        firsts = [s for s in power if plan.sensor_of(Measure.POWER, s.at) is s]
        supply = [s for s in firsts if s.at == MAINS and MAINS not in plan.pumps]
        self.mains = sensors[supply[0].id] if supply else None
        """The switch that watches the supply itself."""
        self.outlets = {s.at: sensors[s.id] for s in firsts if s not in supply}
        """The switch of each outlet, by the pump that it is at, or `shelter`."""
        polled = [s.plan.every_seconds for s in self.outlets.values() if not s.plan.on_change]
        self._together = TOGETHER + round(max(polled, default=0.0) * SECOND)
        self.takes = {s.id: partial(self._take, s.id) for s in firsts}
        self._dead: dict[str, Instant] = {}
        """By sensor: since when it has shown no power."""

    def _take(self, sensor: str, time: Instant, value: float) -> Sequence[Output]:
        if value:
            self._dead.pop(sensor, None)
        else:
            self._dead.setdefault(sensor, time)
        return ()

    def dead_since(self, at: str) -> Instant | None:
        """Since when the outlet at a pump or in the shelter has had no power; None while it has."""
        outlet = self.outlets.get(at)
        return None if outlet is None else self._dead.get(outlet.plan.id)

    @property
    def lost_since(self) -> Instant | None:
        """Since when the mains are lost; None while they aren't, or nobody can know.

        By the switch on the supply; without one, where all of two outlets or more went dead
        together, which makes it likely.
        """
        if self.mains is not None:
            return self._dead.get(self.mains.plan.id)
        since = [self.dead_since(at) for at in self.outlets]
        dead = [one for one in since if one is not None]
        if len(since) < 2 or len(dead) < len(since):
            return None
        return min(dead) if max(dead) - min(dead) <= self._together else None

    def snapshot(self) -> dict[str, Instant]:
        """What is remembered, as plain data."""
        return dict(self._dead)

    def restore(self, data: dict[str, Any]) -> None:
        """Become what `snapshot` wrote; sensors that the plan no longer has are left behind."""
        self._dead = {name: since for name, since in data.items() if name in self.takes}
