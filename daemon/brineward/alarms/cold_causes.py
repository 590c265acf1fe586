"""Why a shelter is cold, as far as a sensor says so, and what is safe to do about each cause."""

from brineward.alarms.condition import Site
from brineward.plant.power import PowerTracker
from brineward.plant.sensors import SensorTracker
from brineward.readings.instants import Instant

MAINS_LOST, NO_POWER, HEATER_OFF = "mains lost", "no power", "heater off"
NAMED = (MAINS_LOST, NO_POWER, HEATER_OFF)
"""Those that a text names."""
DOOR_SHUT = "door shut"
"""Not the door: heater or power, of which nothing is known."""

UNUSUAL_K = 0.3
"""A shelter so far below the week's lowest temperature is colder than its thermostat ever let it
become."""

_SHUT, _DRAIN = "Shut door, drain water lines.", "Drain water lines."
_NO_FUEL_INSIDE, _NO_FUEL = "Never burn fuel inside.", "Never burn fuel."
_KEEP_OFF = "Wet: reset nothing."
_THEN = {
    MAINS_LOST: "Call the utility.",
    HEATER_OFF: "Check heater if dry.",
    DOOR_SHUT: "Check heater if dry.",
}


class ColdCauses:
    """What else the depot's sensors say of power, heater and door while its shelter is cold."""

    def __init__(self, site: Site, limit_c: float) -> None:
        trackers = site.trackers
        self._power, self._heater = trackers.power, trackers.heater
        self._door, self._shelter = trackers.door, trackers.shelter
        at = "shelter"
        self._outlet = None if at in site.plan.pumps else trackers.power.outlets.get(at)
        self._limit_c = limit_c

    def likely(self, now: Instant, value_c: float) -> str:
        """The likely cause at this temperature of the shelter, the door's aside; empty: unknown."""
        mains = self._power.mains
        if mains is not None and _dead(mains, now):
            return MAINS_LOST
        if self._unpowered(now):
            return NO_POWER
        if (
            self._heater is not None
            and self._heater.heats(now) is False
            and self._cold(now, value_c)
        ):
            return HEATER_OFF
        shut = self._door is not None and self._door.open(now) is False
        return DOOR_SHUT if shut else ""

    def _unpowered(self, now: Instant) -> bool:
        """Has the shelter's outlet or its heater no power, or has no outlet any?"""
        if self._outlet is not None and _dead(self._outlet, now):
            return True
        if self._heater is not None and self._heater.powered(now) is False:
            return True
        return _all_dead_together(self._power, now)

    def _cold(self, now: Instant, value_c: float) -> bool:
        """Is it so cold that a heater should heat, whose rests are its normal life?"""
        low = None if self._shelter is None else self._shelter.low.before(now)
        return value_c < (self._limit_c if low is None else low - UNUSUAL_K)


def response(cause: str, *, door_open: bool) -> str:
    """What to do about it, within the room that a text has for it."""
    if not cause:
        if door_open:
            return f"{_SHUT} {_NO_FUEL_INSIDE}"
        return f"{_SHUT} {_NO_FUEL} {_KEEP_OFF}"
    then = _THEN.get(cause, _KEEP_OFF)
    return f"{_SHUT} {_NO_FUEL} {then}" if door_open else f"{_DRAIN} {_NO_FUEL_INSIDE} {then}"


def _dead(switch: SensorTracker, now: Instant) -> bool:
    return switch.believed(now) == 0.0


def _all_dead_together(power: PowerTracker, now: Instant) -> bool:
    """As lost mains are likely where no switch is on the supply."""
    together = power.mains is None and power.lost_since is not None
    return together and all(_dead(one, now) for one in power.outlets.values())
