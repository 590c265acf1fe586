"""Fill weak: the fill under way brings so weak a mix that the batch will be off its band."""

from collections.abc import Iterator
from dataclasses import dataclass

from brineward.alarms.condition import CLEAR, Alarm, Condition, Finding, Site, Verdict, Words
from brineward.alarms.record import AlarmRecord, Coverage
from brineward.plant.fill_mix import FillMix
from brineward.plant.plan import DepotPlan, Measure
from brineward.readings.instants import Instant
from brineward.readings.modes import Mode
from brineward.readings.outputs import Priority
from brineward.wording.operator_units import percent

UNCERTAINTIES = 2.0
"""The mix must be under the band by so many of its standard uncertainties, the batch by one."""
LESS_THAN_WATER = -0.03
"""No mix is weaker than water: a probe that says so sees the plume and not the tank."""

RECORD = AlarmRecord(
    id="fill-weak",
    title="FILL WEAK",
    place=42,
    priority=Priority.MEDIUM,
    cause="The salt is nearly gone or bridged, a blend valve was moved, or water runs past the "
    "hopper.",
    consequence="A whole batch of weak brine, which freezes earlier, and no more room in the tank "
    "to correct it with salt brine.",
    response="Shut off fill water; where a pump feeds it, stop that pump at the panel first. "
    "Check the blend valves, and look at the hopper's salt from outside; nobody leans in or climbs "
    "in. Test the tank by hydrometer, with the sample's temperature. Let the water on again only "
    "when the cause is found.",
    text_response="Fill pump off (PANEL), THEN shut water. Check blend, salt from outside.",
    respond_within="15 minutes, while most of the batch is still to come",
    respond_seconds=900.0,
    on_delay_seconds=120.0,
    off_delay_seconds=60.0,
    basis="The mix, from how far the probe has moved for what came in: under the low end of the "
    "depot's strength band by two standard uncertainties, and the batch under it by one when the "
    "tank is full, for two minutes. How the probe's readings scatter is in the uncertainty. The "
    "tank is taken as stirred, the probe as ten minutes behind it (simulated; common practice, no "
    "source). What came in lately must show the same: a plume at the probe steps at once and then "
    "stays. Salt that goes down too slowly for the fill would show the same, but a salt-level "
    "sensor is too coarse for it.",
    clears_unsaid=True,  # who shut the water knows; a batch that is weak is `brine-weak`
    suppressed_by=("depot-silent", "link-lost"),
    once_under=("salt-low",),  # each fill is weak until somebody fills the hopper
    quiet_in=(Mode.DRAINING, Mode.LAID_UP),
)


@dataclass(frozen=True, slots=True, kw_only=True)
class WeakFill(Finding):
    """The mix as `value`; mass fractions."""

    tank: float
    when_full: float


class FillIsWeak(Condition[WeakFill]):
    """What comes in is weaker than the band allows, and so will be the batch."""

    def __init__(self, site: Site, mix: FillMix) -> None:
        self._mix = mix
        self._band_low = site.plan.strength.low
        super().__init__(
            site,
            mix.vessel,
            WeakFill,
            judged_after=(mix.strength.probe.sensor,),
            limit=self._band_low,
            unit="1",
            side=-1,
        )
        self.value_from = ()  # the mix's strength, not the tank's

    def at_rest(self) -> bool:
        """Nothing has come in that could tell."""
        return not self._mix.under_way

    @property
    def good_at(self) -> Instant:
        """When a fill last brought a mix that is surely in the band."""
        return self._mix.good_at

    def judge(self, now: Instant, active: bool) -> Verdict:
        """Is the mix weak, and the batch with it?"""
        if not self._mix.under_way or self._mix.level.settled(now):
            return CLEAR
        why = self._unknown()
        if why:
            return Verdict.unknown(why)
        mix = self._mix.mix()
        if mix is None:
            return Verdict.not_now("too little has come in to tell the mix")
        if mix.strength < LESS_THAN_WATER:
            return Verdict.not_now("the probe falls faster than water could make it: a plume at it")
        doubt = 0.0 if active else mix.standard_uncertainty
        goes_on = active or mix.lately < self._band_low
        weak_mix = round(mix.strength + UNCERTAINTIES * doubt, 6) < self._band_low
        weak_batch = round(mix.when_full + mix.brought * doubt, 6) < self._band_low
        if not (weak_mix and weak_batch and goes_on):
            return CLEAR
        finding = WeakFill(
            value=round(max(0.0, mix.strength), 5),
            limit=self._band_low,
            unit="1",
            tank=round(mix.tank, 5),
            when_full=round(mix.when_full, 5),
        )
        return Verdict(True, finding)

    def _unknown(self) -> str:
        """Why the probe tells nothing of the mix; empty where it does."""
        probe = self._mix.strength.probe
        for sensor in (probe.sensor, probe.thermometer):
            if sensor.implausible:
                return f"{self.units.name_of(sensor.plan.id)} is implausible"
        if not probe.covered():
            return "the probe is not known to be covered"
        return ""

    def words(self, finding: WeakFill, now: Instant) -> Words:
        """What comes in, and what the batch will be."""
        mix, full = percent(finding.value or 0.0), percent(finding.when_full)
        return Words(
            f"{self.name} fill too weak",
            f"mix about {mix} %, batch {full} %",
            past=f"{self.name} fill was too weak",
        )


def _coverage(plan: DepotPlan) -> Iterator[Coverage]:
    for fill in plan.fills:
        vessel = plan.vessels.get(fill.into)
        if vessel is None or vessel.brine != "sodium chloride":
            continue
        measures = (Measure.CONDUCTIVITY, Measure.TEMPERATURE, Measure.LEVEL)
        sensors = {one: plan.sensor_of(one, vessel.id) for one in measures}
        lacking = [one.value for one, sensor in sensors.items() if sensor is None]
        if lacking:
            helps = f"a {' and a '.join(lacking)} in {vessel.id}"
            yield Coverage(RECORD.id, vessel.id, "blind", (), helps)
        else:
            by = tuple(sensor.id for sensor in sensors.values() if sensor is not None)
            yield Coverage(RECORD.id, vessel.id, "covered", by)


def _conditions(site: Site) -> Iterator[FillIsWeak]:
    for vessel, mix in site.trackers.mixes.items():
        if site.plan.vessels[vessel].brine == "sodium chloride":
            yield FillIsWeak(site, mix)


ALARM = Alarm(record=RECORD, conditions=_conditions, coverage=_coverage)
