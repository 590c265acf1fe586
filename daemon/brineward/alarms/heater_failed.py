"""Heater failed: no power, or no heat where it has always come on; announced before it is cold."""

from collections.abc import Iterator
from dataclasses import dataclass

from brineward.alarms.cold_causes import UNUSUAL_K
from brineward.alarms.condition import CLEAR, Alarm, Condition, Finding, Site, Verdict, Words
from brineward.alarms.record import AlarmRecord, Coverage
from brineward.alarms.shelter_freezing import FORECAST_SECONDS
from brineward.alarms.shelter_freezing import RECORD as FREEZING
from brineward.plant.heater import Heater, heater_sensors
from brineward.plant.plan import HEATER, DepotPlan, Measure
from brineward.plant.resting_fall import seconds_to_zero
from brineward.plant.sensors import SensorTracker
from brineward.plant.shelter import SPAN_SECONDS, ShelterTracker
from brineward.readings.instants import Instant
from brineward.readings.modes import Mode
from brineward.readings.outputs import Priority
from brineward.wording.operator_units import duration

COOL_C = 8.0
"""Without a thermometer outdoors, a shelter below this is in the cold (common practice, no source:
frost heaters are set to 5 to 10 degC)."""

THAW_K = 2.0
"""How far above 0 degC outdoors a heater without power no longer matters."""

RECORD = AlarmRecord(
    id="heater-failed",
    title="SHELTER HEATER FAILED",
    place=31,
    priority=Priority.MEDIUM,
    danger="failed heater",
    cause="Its breaker or ground-fault outlet tripped, somebody unplugged it, its thermostat or "
    "element failed.",
    consequence="The shelter cools to {0 degC}, and fresh-water lines, valves and sight glasses "
    "freeze.",
    response="Check the heater's supply. A tripped outlet is reset only by someone who sees it dry "
    "and sound, once, with all that is plugged in there off; one that trips again is an "
    "electrician's. Where it has power and does not heat, check its plug and thermostat; the "
    "rest is an electrician's. Bring safe heat: no flame and no fuel-burning heater in a closed "
    "shelter. Or drain the water lines.",
    text_response="Wet: keep off. Seen dry: all off, reset once; again: electrician. Burn no fuel.",
    text_afterwards="Check that the shelter warms.",
    respond_within="until {0 degC}, as the text says",
    on_delay_seconds=60.0,
    off_delay_seconds=300.0,
    basis="Its supply has no power while it is below {0 degC} outdoors (where that isn't measured, "
    "while the shelter is below {8 degC}). Or it does not run, or draws no current, though the "
    "shelter is below the week's usual low and does not warm. High where the shelter is at the "
    "limit of shelter-freezing, or will be at {0 degC} within 75 minutes.",
    suppressed_by=("mains-lost", "depot-silent", "link-lost"),
    quiet_in=(Mode.LAID_UP,),
)

NOT_TRIPPED = "Wet: keep off. Dry: check plug, thermostat; else electrician. Burn no fuel."
"""What to do in a text where it stays cold and nothing shows that anything tripped."""

_SHOWS = {
    "supply": ("has no power", "had no power"),
    "contact": ("is not running", "was not running"),
    "clamp": ("draws no current", "drew no current"),
}


@dataclass(frozen=True, slots=True, kw_only=True)
class NoHeat(Finding):
    """A heater that can't or doesn't heat; `value` is the shelter's temperature, if known."""

    shown_by: str
    """`supply`, `contact` or `clamp`."""
    seconds_to_zero: float | None = None
    """None where nobody knows how fast the shelter cools."""


class HeaterFailed(Condition[NoHeat]):
    """No supply in the cold, or no heat under the temperature at which it has always come on."""

    def __init__(self, site: Site, heater: Heater) -> None:
        sensors = site.trackers.sensors
        self._heater = heater
        self._shelter = site.trackers.shelter
        outdoors = site.plan.sensor_of(Measure.TEMPERATURE, "outdoors")
        self._outdoors = None if outdoors is None else sensors[outdoors.id]
        self._limit_c = site.limit(FREEZING, FREEZING.limit or 0.0)
        inside = () if self._shelter is None else (self._shelter.sensor,)
        super().__init__(site, "heater", NoHeat, judged_after=(*heater.sensors, *inside))

    def at_rest(self) -> bool:
        """Its supply has power, and nothing else says whether it heats."""
        supply = self._heater.supply
        alone = self._heater.contact is None and self._heater.clamp is None
        return alone and supply is not None and supply.value == 1.0 and not supply.implausible

    def judge(self, now: Instant, active: bool) -> Verdict:
        """Is there no power, or no heat?"""
        powered = self._heater.powered(now)
        if powered is False:
            return self._unpowered(now, active)
        heats = self._heater.heats(now)
        if heats is None:
            return CLEAR if powered else self._blind()
        if heats:
            return CLEAR
        return self._idle(now)

    def _blind(self) -> Verdict:
        sensors = [one.plan.id for one in self._heater.sensors]
        return Verdict.unknown(f"{self.units.name_of(sensors[0])} is silent", *sensors)

    def _unpowered(self, now: Instant, active: bool) -> Verdict:
        outdoors, inside = _believed(self._outdoors, now), self._inside_c(now)
        if outdoors is None and inside is None:
            known = (self._outdoors, None if self._shelter is None else self._shelter.sensor)
            thermometers = [one.plan.id for one in known if one is not None]
            return Verdict.unknown("no temperature shows whether it is cold", *thermometers)
        cold = inside is not None and inside < COOL_C
        if outdoors is not None:
            cold = outdoors < (THAW_K if active else 0.0)
        return Verdict.active_if(cold, self._finding("supply", now))

    def _idle(self, now: Instant) -> Verdict:
        """It doesn't heat: is the shelter colder than it ever let it become, and not warming?"""
        shelter, value = self._shelter, self._inside_c(now)
        if shelter is None or value is None:
            by = () if shelter is None else (shelter.sensor.plan.id,)
            return Verdict.unknown("no shelter temperature shows whether it should heat", *by)
        low = shelter.low.before(now)
        comes_on_c = self._limit_c if low is None else low - UNUSUAL_K
        shown_by = "clamp" if self._heater.contact is None else "contact"
        idle = value < comes_on_c and not shelter.fall.rises
        return Verdict.active_if(idle, self._finding(shown_by, now))

    def _inside_c(self, now: Instant) -> float | None:
        shelter = self._shelter
        if shelter is None or shelter.sensor.believed(now) is None:
            return None
        return shelter.course.middle(SPAN_SECONDS)[0]

    def _finding(self, shown_by: str, now: Instant) -> NoHeat:
        value, left = self._inside_c(now), None
        if value is not None and self._shelter is not None:
            left = _seconds_left(self._shelter, value, now)
        near = value is not None and value <= self._limit_c
        grave = near or (left is not None and left < FORECAST_SECONDS)
        return NoHeat(
            value=None if value is None else round(value, 2),
            unit="degC",
            priority=Priority.HIGH if grave else None,
            shown_by=shown_by,
            seconds_to_zero=None if left is None else round(left, 0),
        )

    def words(self, finding: NoHeat, now: Instant) -> Words:
        """What shows it, and when it freezes or how cold it is."""
        shows, showed = _SHOWS.get(finding.shown_by, ("does not heat", "did not heat"))
        headline, past = f"shelter heater {shows}", f"shelter heater {showed}"
        response = "" if finding.shown_by == "supply" else NOT_TRIPPED
        if finding.value is None:
            return Words(headline, past=past, response=response)
        inside = f"{self.units.name_of('shelter')} {self.units.temperature(finding.value)}"
        seconds = finding.seconds_to_zero
        if seconds is None or finding.value <= 0.0:
            return Words(headline, inside, past=past, response=response)
        left = f"{self.units.whole_degrees(0.0)} in {duration(seconds)}"
        return Words(headline, left, detail=inside, past=past, response=response)


def _believed(sensor: SensorTracker | None, now: Instant) -> float | None:
    return None if sensor is None else sensor.believed(now)


def _seconds_left(shelter: ShelterTracker, value_c: float, now: Instant) -> float | None:
    """To 0 degC, by the fall that it shows or else by its usual one while the heater rests."""
    fall = shelter.fall.now or shelter.fall.usual(now)
    if fall is None:
        return None
    return seconds_to_zero(value_c, fall, shelter.outdoors_c(now))


def _conditions(site: Site) -> Iterator[HeaterFailed]:
    if site.trackers.heater is not None:
        yield HeaterFailed(site, site.trackers.heater)


def _coverage(plan: DepotPlan) -> Iterator[Coverage]:
    """Blind without a sensor of its own: shelter-freezing then tells of the cold, later."""
    by = tuple(sensor.id for sensor in heater_sensors(plan) if sensor is not None)
    if by:
        yield Coverage(RECORD.id, HEATER, "covered", by)
    elif not any(HEATER in things for things in (plan.pumps, plan.valves, plan.vessels)):
        helps = f'a power switch or a current clamp on its supply (at = "{HEATER}")'
        if not plan.has_shelter:
            helps = f"the shelter in the config, and {helps}"
        yield Coverage(RECORD.id, HEATER, "blind", (), helps)


ALARM = Alarm(record=RECORD, conditions=_conditions, coverage=_coverage)
