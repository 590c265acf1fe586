"""Brine near freezing: in its tank, and weak brine in the line and hose outdoors."""

from collections.abc import Iterator
from dataclasses import dataclass

from brineward.alarms.condition import CLEAR, Alarm, Condition, Finding, Site, Verdict, Words
from brineward.alarms.record import AlarmRecord, Coverage
from brineward.alarms.strength_band import ice_c, measured_vessels, strength_coverage
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
    "band is as safe as brine can be. It clears {1 K} above. The text says how cold it may become "
    "outdoors: as at the coldest of the last day, and {3 K} colder (common practice, no source).",
    limit_unit="degC",
    deadband=1.0,
    suppressed_by=("depot-silent", "link-lost"),
    quiet_in=(Mode.LAID_UP,),
)

WITH_TONIGHT = "Run no pump. Empty hose and line. Test brine."
"""What to do in a text that says how cold the night may become: room for no more."""


@dataclass(frozen=True, slots=True, kw_only=True)
class Freezing(Finding):
    """`value` in degC, where it freezes; `limit` where ice comes out of the weakest it may be."""

    outdoors: bool
    """In the line outdoors; else in the tank."""
    mass_fraction: float
    tonight_c: float | None = None
    """As cold as it may become outdoors, in degC; None where that isn't known."""


class BrineFreezing(Condition[Freezing]):
    """The tank is near its own freezing point, or the line outdoors at that of weak brine."""

    def __init__(self, site: Site, tracker: StrengthTracker) -> None:
        probe = tracker.probe
        outdoors = site.plan.sensor_of(Measure.TEMPERATURE, "outdoors")
        self._tracker = tracker
        self._tank = probe.thermometer
        self._outdoors = None if outdoors is None else site.trackers.sensors[outdoors.id]
        self._cold_ahead = site.trackers.cold_ahead
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
        freezes_c = ice_c(shown.low) + (self._deadband_k if active else 0.0)
        if tank_c <= freezes_c + MARGIN_K:
            return Verdict(True, self._finding(tank_c, shown, now, outdoors=False))
        weak = shown.mass_fraction + shown.standard_uncertainty < self._band_low
        if not weak or outdoors_c is None or outdoors_c > freezes_c:
            return CLEAR
        return Verdict(True, self._finding(outdoors_c, shown, now, outdoors=True))

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

    def _finding(self, value_c: float, shown: Shown, now: Instant, *, outdoors: bool) -> Freezing:
        tonight_c = None if self._cold_ahead is None else self._cold_ahead.expected_c(now)
        return Freezing(
            value=round(value_c, 1),
            limit=round(ice_c(shown.low), 1),
            unit="degC",
            priority=None if outdoors else Priority.HIGH,
            outdoors=outdoors,
            mass_fraction=round(shown.mass_fraction, 4),
            tonight_c=None if tonight_c is None else round(tonight_c, 1),
        )

    def words(self, finding: Freezing, now: Instant) -> Words:
        """Where it freezes, how cold it is and may become, and where this brine may freeze."""
        temperature = self.units.temperature
        cold, ice = temperature(finding.value or 0.0), temperature(finding.limit or 0.0)
        detail = f"brine at {percent(finding.mass_fraction)} %"
        where, past = f"{self.name} near freezing", f"{self.name} was near freezing"
        if finding.outdoors:
            where, past = "weak brine freezing outdoors", "weak brine was freezing outdoors"
        if finding.tonight_c is None:
            return Words(where, f"{cold}, freezes at {ice}", detail=detail, past=past)
        how_bad, ahead = f"{cold}, freezes at {ice}", f"{temperature(finding.tonight_c)} tonight"
        if finding.outdoors:
            how_bad, ahead = f"{cold} now, {ahead}, freezes at {ice}", ""
        else:
            ahead = f"outdoors {ahead}"
        return Words(where, how_bad, ahead, detail, past=past, response=WITH_TONIGHT)


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
