"""Shelter near freezing: by its limit, and by the minutes that are left to 0 degC."""

import math
from collections.abc import Iterator
from dataclasses import dataclass

from brineward.alarms.cold_causes import NAMED, UNUSUAL_K, ColdCauses, response
from brineward.alarms.condition import CLEAR, Alarm, Condition, Finding, Site, Verdict, Words
from brineward.alarms.record import AlarmRecord, Coverage
from brineward.physics.margins import ice_in_weakest_c
from brineward.plant.course import Course
from brineward.plant.door import DoorTracker
from brineward.plant.heater import door_switch
from brineward.plant.plan import DepotPlan, Measure
from brineward.plant.resting_fall import seconds_to_zero
from brineward.plant.shelter import SPAN_SECONDS, ShelterTracker
from brineward.readings.instants import MINUTE, SECOND, Instant
from brineward.readings.modes import Mode
from brineward.readings.outputs import Priority
from brineward.wording.operator_units import duration

FORECAST_SECONDS = 75 * 60.0
"""A freeze nearer than this is raised before the limit is reached."""

LIMIT_SPAN_SECONDS = 600.0
"""At its limit is what is so in the median of ten minutes too: a door opened for a truck lets the
air dip for as long."""

NEAR_K = 2.5
FAST_SECONDS = 45 * 60.0
NEAR_UNKNOWN_K = 1.0
"""The forecast counts only below the week's lowest temperature by `UNUSUAL_K`, since above that a
thermostat has its usual swing, and within `NEAR_K` of the limit; higher up only where 0 degC is
nearer than `FAST_SECONDS`, since a heater that idled for a week may yet come on. With no week known
it counts within `NEAR_UNKNOWN_K` of the limit.
"""

STRAIGHT_IS_SURE = 6.0
BENT = 1.5
"""A fall counts where it is so many times its standard uncertainty, and a straight one: its values
scatter about it no more than so many times as much as their own noise.

A heater that failed gives a quarter of an hour's straight fall; a door opened for ten minutes a
bend.
"""


AS_USUAL = (0.7, 2.2)
"""Between these shares of its usual fall while the heater rests, a fall is that of a heater that
rests. A thermometer's lag hides up to a half of a short rest's fall (measured with the simulator).
"""

RESTS_SPAN_SECONDS = 660.0
RESTS_FORECAST_SECONDS = 120 * 60.0
"""A heater that stays off below the temperature at which it has always come on has failed, if that
is so in the median of this span and through the delay after it: raised far from the limit too,
where the freeze is nearer than this. A door half open may cool the shed just as fast, so it takes
longer than a truck's ten minutes (40 such doors, from a fifth to wide open: none is raised).
"""

VISIT = 10 * MINUTE
"""A truck's visit takes so long, and the air as long again to come back (common practice, no
source): meanwhile a fall that a door's switch explains is none."""


RECORD = AlarmRecord(
    id="shelter-freezing",
    title="SHELTER NEAR FREEZING",
    place=30,
    priority=Priority.HIGH,
    danger="freezing",
    cause="The heater failed or lost its power, or the door was left open.",
    consequence="Fresh-water lines, valves, small pipes and sight glasses freeze and burst "
    "before the tanks do.",
    response="Check door and heater, each only where it is dry. Bring safe heat: no flame and no "
    "fuel-burning heater in a closed shelter. Or drain the water lines. A tripped outlet is reset "
    "only by someone who sees it dry and sound. Lost mains are the utility's or an electrician's: "
    "drain the water lines meanwhile.",
    text_response=response("", door_open=False),
    text_afterwards="If it froze: check the lines for splits before water or pump goes on.",
    respond_within="until {0 degC}, as the text says",
    on_delay_seconds=300.0,
    off_delay_seconds=600.0,
    limit_quantity="temperature",
    limit=3.0,
    limit_unit="degC",
    deadband=1.0,
    basis="{3 degC} leaves a margin to {0 degC} for the sensor and for cold corners (common "
    "practice, no source). Before that: the temperature falls as fast as it usually does while the "
    "heater is off, in the median of eleven minutes under the week's usual low, with a freeze in "
    "two hours by Newton's law of cooling; or a quarter of an hour's straight fall under that low, "
    "with a freeze in 75 minutes. Medians and the delay outlast a door opened for ten minutes; a "
    "shelter that warms again for sure is not raised above {0 degC}. Where the door has a switch, "
    "nothing above {0 degC} is raised until it has been open for ten minutes, nor for ten minutes "
    "after it was shut. The text names lost mains, an outlet or a heater without power, a heater "
    "that does not heat below the week's usual low, or an open door, where a switch or a clamp "
    "shows it. Laid up, the lines are drained and the heater is off: a freeze harms "
    "nothing.",
    suppressed_by=("heater-failed",),
    quiet_in=(Mode.LAID_UP,),
)


@dataclass(frozen=True, slots=True, kw_only=True)
class Cold(Finding):
    """A shelter at its limit, or soon at 0 degC."""

    seconds_to_zero: float | None = None
    """None where it doesn't fall for sure."""
    door_open: bool = False
    door_since: Instant | None = None
    """When the door was opened; None where that was before the watch."""
    brine_freezes_c: float | None = None
    """Where the weakest brine here freezes, in degC; None where no strength is known."""
    cause: str = ""
    """Likely, of those in `cold_causes`; empty where no sensor says anything but of the door."""
    tonight_c: float | None = None
    """As cold as it may become outdoors, in degC; None where that isn't known."""


class ShelterFreezing(Condition[Cold]):
    """The shelter is at its limit, or falls so that it will be at 0 degC within the forecast."""

    def __init__(self, site: Site, shelter: ShelterTracker) -> None:
        self._shelter = shelter
        self._door = site.trackers.door
        self._cold_ahead = site.trackers.cold_ahead
        self._strengths = tuple(site.trackers.strengths.values())
        self._limit_c = site.limit(RECORD, RECORD.limit or 0.0)
        self._deadband_k = site.deadband(RECORD)
        self._causes = ColdCauses(site, self._limit_c)
        super().__init__(
            site,
            "shelter",
            Cold,
            judged_after=(shelter.sensor,),
            limit=self._limit_c,
            unit="degC",
            side=-1,
        )

    def judge(self, now: Instant, active: bool) -> Verdict:
        """At or under the limit, or soon at 0 degC?"""
        shelter = self._shelter
        sensor = shelter.sensor.plan.id
        if shelter.sensor.value is None or shelter.course.level is None:
            return Verdict.unknown("no shelter temperature yet", sensor)
        if shelter.sensor.implausible:
            return Verdict.unknown(f"{self.units.name_of(sensor)} is implausible", sensor)
        value = shelter.course.middle(SPAN_SECONDS)[0]
        if not active and value > 0.0 and (shelter.fall.rises or _visited(self._door, now)):
            return CLEAR
        limit = self._limit_c + (self._deadband_k if active else 0.0)
        cold = value <= limit and shelter.course.middle(LIMIT_SPAN_SECONDS)[0] <= limit
        straight = _straight_fall(shelter.course)
        soon = straight is not None and self._unusual(now, value, straight)
        resting = _fall_of_a_resting_heater(shelter, now)
        # Of two falls the faster: a quarter of an hour may still hold some of the time before it.
        fall, left = max(straight or 0.0, resting or 0.0), 0.0 if value <= 0.0 else None
        if fall:
            left = seconds_to_zero(value, fall, shelter.outdoors_c(now))
        failed = resting is not None and left is not None and left < RESTS_FORECAST_SECONDS
        if not (cold or soon or failed):
            return CLEAR
        return Verdict(True, self._finding(now, value, left))

    def _finding(self, now: Instant, value: float, left: float | None) -> Cold:
        ahead = self._cold_ahead
        tonight_c = None if ahead is None else ahead.expected_c(now)
        return Cold(
            value=round(value, 2),
            limit=self._limit_c,
            unit="degC",
            seconds_to_zero=None if left is None else round(left, 0),
            door_open=self._door is not None and self._door.open(now) is True,
            door_since=None if self._door is None else self._door.since,
            brine_freezes_c=self._brine_freezes_c(now) if value <= 0.0 else None,
            names=("below freezing",) if value <= 0.0 else (),
            harm_soon_at=now + round(left * SECOND) if left else None,
            cause=self._causes.likely(now, value),
            tonight_c=None if tonight_c is None else round(tonight_c, 1),
        )

    def _brine_freezes_c(self, now: Instant) -> float | None:
        """Of the weakest brine that there may be, where its probe is believed."""
        shown = (
            one.lately.middle(LIMIT_SPAN_SECONDS)
            for one in self._strengths
            if one.probe.sensor.believed(now) is not None
        )
        lows = [one.low for one in shown if one is not None]
        return round(ice_in_weakest_c(min(lows)), 1) if lows else None

    def _unusual(self, now: Instant, value: float, fall: float) -> bool:
        """Near freezing by a straight line, and not by a thermostat's swing?"""
        # Cooling slows as the outdoors comes near, so a straight line errs on the early side.
        seconds = max(0.0, value) / fall
        low = self._shelter.low.before(now)
        if low is None:
            return seconds < FORECAST_SECONDS and value < self._limit_c + NEAR_UNKNOWN_K
        near = value < self._limit_c + NEAR_K
        if not near and self._shelter.fall.usual(now) is not None:
            return False  # so high up only a heater that rests on is meant, and a door is not
        within = FORECAST_SECONDS if near else FAST_SECONDS
        return seconds < within and value < low - UNUSUAL_K

    def words(self, finding: Cold, now: Instant) -> Words:
        """When it freezes, or how cold it is, and why, as far as a sensor says so."""
        how = "below" if (finding.value or 0.0) <= 0.0 else "near"
        where, why = f"{self.name} {how} freezing", _named(finding)
        how_bad, more = self._how_bad(finding, why)
        return Words(
            f"{where}, {why}" if why else where,
            how_bad,
            "" if finding.cause in NAMED else more,
            detail=self._detail(finding, more, now),
            past=f"{self.name} was {how} freezing",
            response=response(finding.cause, door_open=finding.door_open),
        )

    def _how_bad(self, finding: Cold, why: str) -> tuple[str, str]:
        """What the text has room for first, and what after that."""
        value, limit, seconds = finding.value or 0.0, finding.limit or 0.0, finding.seconds_to_zero
        temperature = self.units.temperature
        if value <= 0.0 and finding.brine_freezes_c is not None:
            at = temperature(finding.brine_freezes_c)
            return temperature(value), "" if why else f"brine freezes at {at}"
        if value > 0.0 and seconds is not None:
            # That it is still warm would read as if nothing were wrong: first, when it freezes.
            zero = f"{self.units.whole_degrees(0.0)} in {duration(seconds)}"
            return zero, f"{temperature(value)} now"
        if value > limit or why:
            return temperature(value), ""
        return self.units.against(temperature(value), temperature(limit)), ""

    def _detail(self, finding: Cold, more: str, now: Instant) -> str:
        """For the log; `more` is what a text that names the cause has no room for."""
        pieces = [more] if more and finding.cause in NAMED else []
        if finding.brine_freezes_c is not None:
            at = self.units.temperature(finding.brine_freezes_c)
            pieces.append(f"water lines freeze now, brine at {at}")
        if finding.door_open and finding.door_since is not None:
            pieces.append(f"door open since {self.units.clock_time(finding.door_since, now)}")
        elif finding.door_open and finding.cause in NAMED:
            pieces.append("door open")
        if finding.tonight_c is not None:
            pieces.append(f"outdoors {self.units.temperature(finding.tonight_c)} tonight")
        return "; ".join(pieces)


def _named(finding: Cold) -> str:
    """The cause that the text names: what takes the heat's power first, then the door."""
    if finding.cause in NAMED:
        return finding.cause
    return "door open" if finding.door_open else ""


def _visited(door: DoorTracker | None, now: Instant) -> bool:
    """Was the door opened or shut just now? Then the air's fall is a visit's."""
    if door is None or door.since is None or door.open(now) is None:
        return False
    return now - door.since < VISIT


def _straight_fall(course: Course) -> float | None:
    """The fall in K/s where it is one for sure, and straight; else None."""
    if course.slope is None or course.slope >= -STRAIGHT_IS_SURE * course.slope_uncertainty:
        return None
    if course.scatter > BENT * math.sqrt(course.noise.variance):
        return None
    return -course.slope


def _fall_of_a_resting_heater(shelter: ShelterTracker, now: Instant) -> float | None:
    """The fall in K/s, where the heater rests on though it has always come on by here."""
    fall, usual, low = shelter.fall.now, shelter.fall.usual(now), shelter.low.before(now)
    if fall is None or usual is None or low is None:
        return None
    if shelter.course.middle(RESTS_SPAN_SECONDS)[0] >= low - UNUSUAL_K:
        return None
    return fall if AS_USUAL[0] <= fall / usual <= AS_USUAL[1] else None


def _conditions(site: Site) -> Iterator[ShelterFreezing]:
    if site.trackers.shelter is not None:
        yield ShelterFreezing(site, site.trackers.shelter)


def _coverage(plan: DepotPlan) -> Iterator[Coverage]:
    inside = plan.sensor_of(Measure.TEMPERATURE, "shelter")
    if inside is not None:
        door = door_switch(plan)
        by = (inside.id,) if door is None else (inside.id, door.id)
        yield Coverage(RECORD.id, "shelter", "covered", by)
    else:
        helps = "a temperature at the shelter"
        if not plan.has_shelter:
            helps = f"the shelter in the config, and {helps}"
        yield Coverage(RECORD.id, "shelter", "blind", (), helps)


ALARM = Alarm(record=RECORD, conditions=_conditions, coverage=_coverage)
