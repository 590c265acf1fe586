"""Brine near freezing: in its tank, and weak brine in the line and hose outdoors."""

from collections.abc import Iterator
from dataclasses import dataclass
from functools import lru_cache

from brineward.alarms.condition import CLEAR, Alarm, Condition, Finding, Site, Verdict, Words
from brineward.alarms.record import AlarmRecord, Coverage
from brineward.alarms.strength_band import measured_vessels, strength_coverage
from brineward.physics.margins import ice_in_weakest_c
from brineward.plant.plan import DepotPlan, Measure
from brineward.plant.strengths import Shown, StrengthTracker
from brineward.readings.instants import Instant
from brineward.readings.modes import Mode
from brineward.readings.outputs import Priority
from brineward.wording.operator_units import percent

SPAN_SECONDS = 600.0
"""The strength is the median of so many seconds."""

MARGIN_K = 2.0
"""How near its freezing point a tank counts as freezing: walls and bottom valve are colder than its
thermometer (common practice, no source)."""

RECORD = AlarmRecord(
    id="brine-freezing",
    title="BRINE NEAR FREEZING",
    place=32,
    priority=Priority.MEDIUM,
    danger="frozen brine",
    cause="Brine that is weaker than it should be, in the cold it now has.",
    consequence="Slush blocks the line, the hose and the pump's suction, and ice splits pipes and "
    "valves; the tank follows.",
    response="Do not start the pump on slush. Let the hose and the outdoor line run empty while "
    "they still can. Add salt, and test by hand with the temperature. Nobody reaches or leans into "
    "the tank.",
    text_response="Run no pump. Empty hose, outdoor line. Test brine. Salt in hopper only.",
    text_afterwards="Check the line and hose for splits before you pump.",
    respond_within="2 hours",
    respond_seconds=7200.0,
    on_delay_seconds=600.0,
    off_delay_seconds=1800.0,
    basis="Where ice first comes out of brine of the low end of its strength's 95 % interval "
    "(fitted to published freezing points). The tank within {2 K} of that: high. Outdoors at or "
    "below it, for the line and the hose, where the brine is below its band: medium. Brine in its "
    "band is as safe as brine can be. It clears {1 K} above.",
    limit_unit="degC",
    deadband=1.0,
    suppressed_by=("depot-silent", "link-lost"),
    quiet_in=(Mode.LAID_UP,),
)


@dataclass(frozen=True, slots=True, kw_only=True)
class Freezing(Finding):
    """`value` in degC, where it freezes; `limit` where ice comes out of the weakest it may be."""

    outdoors: bool
    """In the line outdoors; else in the tank."""
    mass_fraction: float


class BrineFreezing(Condition[Freezing]):
    """The tank is near its own freezing point, or the line outdoors at that of weak brine."""

    def __init__(self, site: Site, tracker: StrengthTracker) -> None:
        probe = tracker.probe
        outdoors = site.plan.sensor_of(Measure.TEMPERATURE, "outdoors")
        self._tracker = tracker
        self._tank = probe.thermometer
        self._outdoors = None if outdoors is None else site.trackers.sensors[outdoors.id]
        self._band_low = site.plan.strength.low
        self._deadband_k = site.deadband(RECORD)
        after = (probe.sensor, probe.thermometer)
        super().__init__(site, probe.vessel, Freezing, judged_after=after, unit="degC")
        self.value_from = ()  # the tank's temperature, or the one outdoors

    def at_rest(self) -> bool:
        """It was clear, and it is far too warm for ice in any brine."""
        tank, outdoors = self._tank.value, self._outdoors
        warm = tank is not None and tank > MARGIN_K and not self._tank.implausible
        return warm and (outdoors is None or outdoors.value is None or outdoors.value > 0.0)

    def judge(self, now: Instant, active: bool) -> Verdict:
        """Is it too cold for this brine?"""
        tank_c = self._tank.believed(now)
        outdoors_c = None if self._outdoors is None else self._outdoors.believed(now)
        if tank_c is None:
            name = self._tank.plan.id
            return Verdict.unknown(f"{self.units.name_of(name)} is silent or implausible", name)
        if tank_c > MARGIN_K + self._deadband_k and (outdoors_c is None or outdoors_c > 0.0):
            return CLEAR  # water itself doesn't freeze there
        shown = self._shown(now)
        if shown is None:
            return self._unknown(now)
        ice_c = _ice_c(round(shown.low, 4)) + (self._deadband_k if active else 0.0)
        if tank_c <= ice_c + MARGIN_K:
            return Verdict(True, self._finding(tank_c, shown, outdoors=False))
        weak = shown.mass_fraction + shown.standard_uncertainty < self._band_low
        if not weak or outdoors_c is None or outdoors_c > ice_c:
            return CLEAR
        return Verdict(True, self._finding(outdoors_c, shown, outdoors=True))

    def _unknown(self, now: Instant) -> Verdict:
        why, probe = "the brine's strength is not known", self._tracker.probe.sensor
        if probe.believed(now) is None:
            return Verdict.unknown(why, probe.plan.id)
        return Verdict.not_now(why)

    def _shown(self, now: Instant) -> Shown | None:
        probe = self._tracker.probe
        if probe.sensor.believed(now) is None or probe.covered() is False:
            return None
        return self._tracker.lately.middle(SPAN_SECONDS)

    def _finding(self, value_c: float, shown: Shown, *, outdoors: bool) -> Freezing:
        return Freezing(
            value=round(value_c, 1),
            limit=round(_ice_c(round(shown.low, 4)), 1),
            unit="degC",
            priority=None if outdoors else Priority.HIGH,
            outdoors=outdoors,
            mass_fraction=round(shown.mass_fraction, 4),
        )

    def words(self, finding: Freezing, now: Instant) -> Words:
        """Where it freezes, how cold it is there, and from where on this brine may freeze."""
        temperature = self.units.temperature
        cold, ice = temperature(finding.value or 0.0), temperature(finding.limit or 0.0)
        where, past = f"{self.name} brine near freezing", f"{self.name} brine was near freezing"
        if finding.outdoors:
            where, past = "weak brine freezing outdoors", "weak brine was freezing outdoors"
        strength = f"{percent(finding.mass_fraction)} %"
        return Words(where, f"{cold}, freezes at {ice}", detail=f"brine at {strength}", past=past)


@lru_cache(maxsize=64)
def _ice_c(mass_fraction: float) -> float:
    """As `ice_in_weakest_c`; the same strength is asked for time and again."""
    return ice_in_weakest_c(mass_fraction)


def _conditions(site: Site) -> Iterator[BrineFreezing]:
    for vessel in measured_vessels(site.plan):
        yield BrineFreezing(site, site.trackers.strengths[vessel.id])


def _coverage(plan: DepotPlan) -> Iterator[Coverage]:
    outdoors = plan.sensor_of(Measure.TEMPERATURE, "outdoors")
    for one in strength_coverage(RECORD)(plan):
        if one.how == "blind":
            yield one
        elif outdoors is None:
            yield one._replace(how="indirect", would_help="a temperature outdoors")
        else:
            yield one._replace(how="covered", by=(*one.by, outdoors.id), would_help="")


ALARM = Alarm(record=RECORD, conditions=_conditions, coverage=_coverage)
