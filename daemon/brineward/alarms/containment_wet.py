"""Liquid in the containment: how much, how fast, likely from where, and how soon at its rim."""

from collections.abc import Iterator
from dataclasses import dataclass, replace
from typing import Literal, NamedTuple

from brineward.alarms.condition import CLEAR, Alarm, Condition, Finding, Site, Verdict, Words
from brineward.alarms.record import AlarmRecord, Coverage
from brineward.plant.buoyancy import containment_of, held_m3, standing_in_containment
from brineward.plant.plan import DepotPlan, Measure, Vessel, VesselKind
from brineward.plant.slow_levels import SlowLevel, accuracy_m
from brineward.readings.instants import HOUR, SECOND, Instant
from brineward.readings.modes import Mode
from brineward.readings.outputs import Priority
from brineward.wording.operator_units import duration

LIMIT_M = 0.02
MISSED_ACCURACIES, SURE_ACCURACIES = 2.0, 3.0
"""Raised so many of the level's accuracies under its limit, since its zero may be off by them, and
never within so many of the floor, since a dry one may read so (common practice, no source)."""

SOON_SECONDS = 7200.0
"""At its rim within this it is of high priority,"""
EMPTY_SECONDS = 12 * 3600.0
"""and so it is where a tank would have run out by then."""

NIGHT_SECONDS = 12 * 3600.0
"""Rain or melt water is of low priority, and waits for the daily line or the morning, where the rim
is farther than this: who is texted then still has a night to pump it out (common practice, no
source)."""

RAIN_M = 0.10
"""As much as a day of heavy rain brings. Deeper water is no longer low whatever the weather: a leak
in mild weather, from a tank that is topped up, looks like rain (common practice, no source)."""

SAME_VOLUME = (0.5, 2.0)
"""A tank falls by as much as the containment gains: within a factor of two, since both are small
(common practice, no source)."""

THAW = 3 * HOUR
"""Melt water runs on for so long after it was last above freezing (common practice, no source)."""

BRINE_S_PER_M, WATER_S_PER_M = 8.0, 1.0
"""80 mS/cm is brine of 5 % at 25 degC and of 10 % at 0 degC, 10 mS/cm is 1 % at most: rain that has
washed some salt along (`brineward.physics.conductivity`). Between them it may be either; where to
draw the lines is common practice, no source."""

SPAN_SECONDS = 60.0

Source = Literal["", "tank", "over", "rain", "cold", "brine", "water"]
"""Where it likely is from: not known, a tank that falls, a vessel at its brim, the weather, no
weather, or by a probe."""

AT_BRIM_ACCURACIES = 2.0
"""A level within so many of its accuracies of the brim is at it (common practice, no source)."""

RECORD = AlarmRecord(
    id="containment-wet",
    title="CONTAINMENT WET",
    place=25,
    priority=Priority.LOW,
    danger="wet containment",
    cause="A tank, pipe or water line leaks into the containment, or rain or melt water has "
    "collected in it.",
    consequence="The containment fills to its rim and spills, has no room for what it is there "
    "for, and a tank that is emptied in it floats.",
    response="Look from outside where it comes from. If it is a tank or a line, shut its supply or "
    "its valve from outside the containment, but never a valve on a running pump. Pump it out, "
    "from its edge, to where your local rules let it go: brine is not let into the yard or a "
    "drain, rain water may be. Don't step into it: mains near a wet floor may be live, an "
    "electrician sees to that. If the floor is dry, the level sensor's zero is off.",
    text_response="Stay out. Empty it from its edge. No brine to yard or drain.",
    respond_within="until the rim, as the text says; rain: the next working day",
    on_delay_seconds=240.0,
    off_delay_seconds=600.0,
    limit_quantity="length",
    limit=LIMIT_M,
    limit_unit="m",
    deadband=0.005,
    basis="{0.02 m}, or what the config sets; raised where the level may have reached it by twice "
    "its accuracy, and never within three times its accuracy of the floor. Likely source: a tank "
    "without a running pump that falls by the same volume; one at its brim; the conductivity in "
    "the containment, where it is measured; else the weather. High where it is at the rim or will "
    "be within two hours, or a tank would have run out within 12 (common practice, no source), "
    "else medium. Low, and so texted with the daily line, where it is likely rain or melt water "
    "that is not at the rim within 12 h or rises no more, and is under {0.1 m} deep. What is "
    "likely no leak clears unsaid. Its delay lets uplift be found first, where a tank is drained "
    "besides.",
    suppressed_by=("uplift", "overflow-ahead"),
    speaks_up_when="it is full or will be within two hours",  # what spills runs into the yard
)


@dataclass(frozen=True, slots=True, kw_only=True)
class Wet(Finding):
    """A level, m, and what is made of it."""

    volume_m3: float
    source: Source = ""
    tank: str = ""
    """The vessel that it likely is from."""
    gain_m3_per_s: float | None = None
    """How fast it becomes more; None where it doesn't for sure."""
    seconds_to_rim: float | None = None
    at_rim: bool = False


class _Leak(NamedTuple):
    """A tank that loses what the containment gains."""

    tank: str
    seconds_to_empty: float


class ContainmentWet(Condition[Wet]):
    """There is liquid in the containment, more than its level may be off by."""

    def __init__(self, site: Site, outside: SlowLevel) -> None:
        self._plan = site.plan
        self._containment = outside.level.vessel
        self._outside = outside
        self._mode, self._thaw = site.trackers.mode, site.trackers.thaw
        slow = site.trackers.slow_levels
        self._tanks = [slow[v.id] for v in standing_in_containment(site.plan) if v.id in slow]
        self._pumps = site.trackers.pumps.values()
        probe = site.plan.sensor_of(Measure.CONDUCTIVITY, self._containment.id)
        self._probe = None if probe is None else site.trackers.sensors[probe.id]
        accuracy = accuracy_m(outside.level)
        limit = site.limit(RECORD, LIMIT_M)
        self._deadband_m = site.deadband(RECORD)
        super().__init__(
            site,
            self._containment.id,
            Wet,
            judged_after=(outside.level.sensor,),
            limit=max(limit - MISSED_ACCURACIES * accuracy, SURE_ACCURACIES * accuracy),
            unit="m",
            side=1,
        )

    def at_rest(self) -> bool:
        """Its newest reading is under the limit, and is to be believed."""
        sensor = self._outside.level.sensor
        return sensor.value is not None and not sensor.implausible and not self.beyond(sensor.value)

    def judge(self, now: Instant, active: bool) -> Verdict:
        """Is there liquid, and is it not just being pumped out?"""
        level = self._outside.level
        if level.sensor.believed(now) is None or level.course.level is None:
            name = level.sensor.plan.id
            return Verdict.unknown(f"{self.units.name_of(name)} is silent or implausible", name)
        value = level.course.middle(SPAN_SECONDS)[0]
        if not self.beyond(value + self._deadband_m if active else value):
            return CLEAR
        rise = self._outside.rise_m_per_s or 0.0
        if rise < 0.0 and (not active or self._mode.mode is Mode.DRAINING):
            return CLEAR  # somebody pumps it out
        return Verdict(True, _weighed(self._finding(value, rise, now), now, active=active))

    def explains(self, finding: Wet, source: str) -> bool:
        """Rain explains no tank that falls, nor does a tank explain another one's fall."""
        return finding.source not in ("rain", "water") and finding.tank in ("", source)

    def _finding(self, value: float, rise: float, now: Instant) -> Wet:
        held = held_m3(self._plan, self._containment, value)
        brim = self._containment.brim_m
        at_rim = value >= brim - accuracy_m(self._outside.level)
        found = Wet(
            value=round(value, 4),
            limit=self.limit,
            unit="m",
            volume_m3=round(held, 4),
            at_rim=at_rim,
            priority=Priority.HIGH if at_rim else None,
            names=("at its rim",) if at_rim else (),
            speaks_up=at_rim,
        )
        gain = rise * self._around_m2(value)
        if gain <= 0.0:
            # At its rim it rises no more, however much comes.
            over = self._runs_over() if at_rim else ""
            source: Source = "over" if over else self._by_probe(now)
            source = source or self._by_weather(now, rises=False)
            return replace(found, source=source, tank=over)
        room = max(0.0, held_m3(self._plan, self._containment, brim) - held)
        seconds = room / gain
        leak = self._leak(gain)
        over = "" if leak else self._runs_over()
        source = "tank" if leak else "over" if over else self._by_probe(now)
        soon = seconds < SOON_SECONDS
        grave = soon or (leak and leak.seconds_to_empty < EMPTY_SECONDS)
        return replace(
            found,
            source=source or self._by_weather(now, rises=True),
            tank=leak.tank if leak else over,
            gain_m3_per_s=round(gain, 9),
            seconds_to_rim=round(seconds, 0),
            priority=Priority.HIGH if grave else found.priority,
            harm_soon_at=None if at_rim else now + round(seconds * SECOND),
            speaks_up=soon or at_rim,
        )

    def _around_m2(self, level_m: float) -> float:
        """The liquid's surface around what stands in it."""
        step = 0.001
        higher = held_m3(self._plan, self._containment, level_m + step)
        return (higher - held_m3(self._plan, self._containment, level_m)) / step

    def _leak(self, gain_m3_per_s: float) -> _Leak | None:
        """The tank that falls by the same volume, if one does; the likeliest of several."""
        likely: list[tuple[float, _Leak]] = []
        for slow in self._tanks:
            tank: Vessel = slow.level.vessel
            level, rise = slow.level.course.level, slow.rise_m_per_s
            if level is None or rise is None or rise >= 0.0 or self._drawn_from(tank):
                continue
            lost = -rise * tank.shape.area_m2(level)
            ratio = lost / gain_m3_per_s
            if SAME_VOLUME[0] <= ratio <= SAME_VOLUME[1]:
                far = max(ratio, 1.0 / ratio)
                likely.append((far, _Leak(tank.id, tank.shape.volume_m3(level) / lost)))
        return min(likely)[1] if likely else None

    def _runs_over(self) -> str:
        """The vessel in it that is at its brim; empty where none is."""
        for slow in self._tanks:
            level, brim = slow.level.course.level, slow.level.vessel.brim_m
            if level is not None and level >= brim - AT_BRIM_ACCURACIES * accuracy_m(slow.level):
                return slow.level.vessel.id
        return ""

    def _drawn_from(self, tank: Vessel) -> bool:
        return any(one.running and one.pump.draws_from == tank.id for one in self._pumps)

    def _by_probe(self, now: Instant) -> Source:
        conducts = None if self._probe is None else self._probe.believed(now)
        if conducts is None or WATER_S_PER_M < conducts < BRINE_S_PER_M:
            return ""
        return "brine" if conducts >= BRINE_S_PER_M else "water"

    def _by_weather(self, now: Instant, *, rises: bool) -> Source:
        thaw = None if self._thaw is None else self._thaw.warm_since(now - THAW)
        if thaw:
            return "rain"
        return "cold" if rises and thaw is False else ""

    def words(self, finding: Wet, now: Instant) -> Words:
        """How deep, how much and how fast; what it may be; when it is at the rim."""
        units, wet = self.units, f"{self.name} wet"
        headline = {
            "": wet,
            "tank": f"{wet}, {units.name_of(finding.tank)} leak?",
            "over": f"{wet}, {units.name_of(finding.tank)} overflow?",
            "rain": f"{wet}, rain or melt water?",
            "cold": f"{wet}, a leak?",
            "brine": f"brine in the {self.name}",
            "water": f"water in the {self.name}, not brine",
        }.get(finding.source, wet)
        if finding.at_rim:
            headline = f"{self.name} full to its rim"
        gain = finding.gain_m3_per_s
        deep, much = units.depth(finding.value or 0.0), units.amount(finding.volume_m3)
        fast = "" if gain is None else f"+{units.amount(gain * 3600)}/h"
        seconds, why = finding.seconds_to_rim, _DETAILS.get(finding.source, "")
        far = seconds is None or seconds > _FAR_SECONDS or finding.at_rim
        soon = finding.priority is Priority.HIGH and not far
        # What is soon at the rim: how fast and how soon. The log has the rest.
        said = [fast] if soon else [deep, fast or much]
        rest = [one for one in (deep, much, why) if one and one not in said]
        return Words(
            headline,
            ", ".join(said),
            "" if far or seconds is None else f"full in {duration(seconds)}",
            detail=", ".join(rest),
            past=f"{self.name} was wet",
            response=_response(finding),
        )


def _weighed(found: Wet, now: Instant, *, active: bool) -> Wet:
    """Its priority, and how long it may wait: rain that is far from the rim can.

    Water of which the weather says nothing any more, and that rises no more, is what it was when it
    was raised, and no graver. Who has pumped out what is no leak knows.
    """
    medium = replace(found, priority=found.priority or Priority.MEDIUM)
    if found.source not in ("", "rain", "water") or found.at_rim:
        return medium
    deep = (found.value or 0.0) >= RAIN_M
    no_more = active and found.gain_m3_per_s is None
    if not found.source and not no_more:
        return replace(medium, clears_unsaid=True)
    seconds = found.seconds_to_rim
    soon = seconds is not None and seconds < NIGHT_SECONDS
    waits = seconds / 2 if seconds is not None and soon else NIGHT_SECONDS
    weighed = medium if soon or deep else found
    return replace(weighed, clears_unsaid=True, waits_until=now + round(waits * SECOND))


def _response(finding: Wet) -> str:
    """What to do: rain is pumped out, a leak and an overflow are stopped first."""
    match finding.source:
        case "water":
            return "Stay out. From its edge, pump it to where rain water may go."
        case "rain":  # a guess: a leak on a mild day looks like it
            return "Stay out. Empty from edge. If salty, not to yard or drain."
        case "over":
            return "Stay out. Fill pump off (PANEL), THEN shut water. No brine to yard."
        case "tank":
            return "Stay out. Pump off (PANEL), THEN shut its valve. No brine to yard."
    if finding.gain_m3_per_s is None:
        return RECORD.text_response
    return "Stay out. Pump off (PANEL), THEN shut tank valve. No brine to yard."


_FAR_SECONDS = 7 * 86_400.0
_DETAILS = {
    "": "",
    "tank": "the tank falls by about as much",
    "over": "its level is at its brim",
    "rain": "it was above freezing lately, and no tank falls by as much",
    "cold": "too cold for rain or melt water",
    "brine": "by its conductivity",
    "water": "by its conductivity",
}


def _conditions(site: Site) -> Iterator[ContainmentWet]:
    containment = containment_of(site.plan)
    if containment is not None and containment.id in site.trackers.slow_levels:
        yield ContainmentWet(site, site.trackers.slow_levels[containment.id])


def _coverage(plan: DepotPlan) -> Iterator[Coverage]:
    containment = containment_of(plan)
    if containment is None:
        helps = "the containment in the config, and a level in it"
        yield Coverage(RECORD.id, VesselKind.CONTAINMENT.value, "blind", (), helps)
        return
    level = plan.sensor_of(Measure.LEVEL, containment.id)
    if level is None:
        helps = f"a level in {containment.id}"
        yield Coverage(RECORD.id, containment.id, "blind", (), helps)
        return
    probe = plan.sensor_of(Measure.CONDUCTIVITY, containment.id)
    tanks = [plan.sensor_of(Measure.LEVEL, one.id) for one in standing_in_containment(plan)]
    found = (level, *tanks, plan.sensor_of(Measure.TEMPERATURE, "outdoors"), probe)
    by = tuple(one.id for one in found if one is not None)
    helps = "" if probe else f"a conductivity in {containment.id}, to tell brine from rain"
    yield Coverage(RECORD.id, containment.id, "covered", by, helps)


ALARM = Alarm(record=RECORD, conditions=_conditions, coverage=_coverage)
