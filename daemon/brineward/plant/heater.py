"""The shelter's heater, by a switch on its supply, its own contact or a clamp on its cable."""

from typing import NamedTuple

from brineward.plant.plan import DOOR, HEATER, DepotPlan, Measure, SensorPlan
from brineward.plant.sensors import SensorTracker
from brineward.readings.instants import Instant

LEAST_A = 0.2
"""A heater draws more than this (common practice, no source: a frost heater of 60 W at 230 V draws
0.26 A; clamps have smaller errors)."""


class Heater(NamedTuple):
    """What there is to see of it by; remembers nothing beyond its sensors."""

    supply: SensorTracker | None
    contact: SensorTracker | None
    clamp: SensorTracker | None

    @property
    def sensors(self) -> tuple[SensorTracker, ...]:
        """All of them."""
        return tuple(one for one in self if one is not None)

    def powered(self, now: Instant) -> bool | None:
        """Has its supply mains? None where nobody knows."""
        value = None if self.supply is None else self.supply.believed(now)
        return None if value is None else value > 0.0

    def heats(self, now: Instant) -> bool | None:
        """Does it heat just now, by its contact, else by its current? None: nobody knows."""
        value = None if self.contact is None else self.contact.believed(now)
        if value is not None:
            return value > 0.0
        amperes = None if self.clamp is None else self.clamp.believed(now)
        if amperes is None or self.clamp is None:
            return None
        return amperes > max(LEAST_A, 3.0 * self.clamp.plan.standard_uncertainty)


def heater_sensors(plan: DepotPlan) -> tuple[SensorPlan | None, ...]:
    """What watches its supply, its contact and its current."""
    if not plan.has_shelter or _named(plan, HEATER):
        return (None, None, None)
    measures = (Measure.POWER, Measure.RUNNING, Measure.CURRENT)
    return tuple(plan.sensor_of(measure, HEATER) for measure in measures)


def heater_of(plan: DepotPlan, sensors: dict[str, SensorTracker]) -> Heater | None:
    """The heater, where a sensor says anything of it."""
    supply, contact, clamp = (
        None if one is None else sensors[one.id] for one in heater_sensors(plan)
    )
    found = Heater(supply, contact, clamp)
    return found if found.sensors else None


def door_switch(plan: DepotPlan) -> SensorPlan | None:
    """The switch on the shelter's door, where it has one."""
    return None if _named(plan, DOOR) else plan.sensor_of(Measure.OPEN, DOOR)


def _named(plan: DepotPlan, place: str) -> bool:
    """Is something else of the depot called so?"""
    return place in plan.valves or place in plan.vessels or place in plan.pumps
