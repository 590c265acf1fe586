"""An outlet has no power while the mains, as far as anybody knows, are there."""

from collections.abc import Iterator
from dataclasses import dataclass

from brineward.alarms.condition import CLEAR, Alarm, Condition, Finding, Site, Verdict, Words
from brineward.alarms.record import AlarmRecord, Coverage
from brineward.plant.plan import HEATER, DepotPlan, Measure
from brineward.plant.power import PowerTracker
from brineward.plant.sensors import SensorTracker
from brineward.readings.instants import Instant
from brineward.readings.modes import Mode
from brineward.readings.outputs import Priority

RECORD = AlarmRecord(
    id="outlet-dead",
    title="OUTLET WITHOUT POWER",
    place=23,
    priority=Priority.MEDIUM,
    danger="dead outlet",
    cause="A ground-fault outlet or a breaker tripped, by water or by a fault of what is plugged "
    "in; or it was switched off.",
    consequence="Nobody can load, or the shelter has no heat; what else hangs on it is off too. "
    "Reset without a look, it may put current into a wet floor.",
    response="Keep away from a wet outlet and from what is plugged into it. A tripped outlet is "
    "reset only by someone who sees it dry and sound; one that trips again is an electrician's.",
    text_response="Wet: keep off. Seen dry: all off, reset once. Trips again: electrician.",
    text_afterwards="Whatever was left on there may be running: check.",
    respond_within="before the next load",
    on_delay_seconds=25.0,
    off_delay_seconds=30.0,
    basis="By the outlet's own switch. The delay is longer than that of lost mains, so that those "
    "are raised first (common practice, no source).",
    suppressed_by=("mains-lost", "depot-silent", "link-lost"),
    quiet_in=(Mode.LAID_UP,),
)


@dataclass(frozen=True, slots=True, kw_only=True)
class Dead(Finding):
    """An outlet without power."""

    mains_known: bool
    """Is the supply watched too? Then it isn't that."""


class OutletDead(Condition[Dead]):
    """The switch at an outlet shows no power."""

    def __init__(self, site: Site, power: PowerTracker, at: str, outlet: SensorTracker) -> None:
        self._power, self._outlet = power, outlet
        super().__init__(site, at, Dead, judged_after=(outlet,))
        rest = (power.mains, *power.outlets.values())
        polled = [s.plan.every_seconds for s in rest if s is not None and not s.plan.on_change]
        # So that lost mains, which a slow switch shows later, come first.
        self.on_delay_at_least = 2 * max(polled) + 2.0 if polled else 0.0

    def at_rest(self) -> bool:
        """It has power, by a switch that is to be believed."""
        return self._power.dead_since(self.source) is None and not self._outlet.implausible

    def judge(self, now: Instant, active: bool) -> Verdict:
        """Is it dead?"""
        value = self._outlet.believed(now)
        if value is None:
            name = self._outlet.plan.id
            return Verdict.unknown(f"{self.units.name_of(name)} is silent or implausible", name)
        if value:
            return CLEAR
        mains = self._power.mains
        return Verdict(True, Dead(mains_known=mains is not None and mains.believed(now) == 1.0))

    def words(self, finding: Dead, now: Instant) -> Words:
        """Which, and what else it may be."""
        return Words(
            f"{self.name}: outlet has no power",
            "" if finding.mains_known else "tripped, or mains lost?",
            past=f"{self.name}: outlet had no power",
        )


def _conditions(site: Site) -> Iterator[OutletDead]:
    power = site.trackers.power
    for at, outlet in power.outlets.items():
        if at != HEATER:  # a heater without power is told by heater-failed
            yield OutletDead(site, power, at, outlet)


def _coverage(plan: DepotPlan) -> Iterator[Coverage]:
    for at in (*plan.pumps, *(("shelter",) if plan.has_shelter else ())):
        switch = plan.sensor_of(Measure.POWER, at)
        if switch is not None:
            yield Coverage(RECORD.id, at, "covered", (switch.id,))
        elif at in plan.pumps:
            yield Coverage(RECORD.id, at, "blind", (), "a power switch at the pump's outlet")
    if not plan.pumps:
        helps = "the pump in the config, and a power switch at its outlet"
        yield Coverage(RECORD.id, "any pump", "blind", (), helps)


ALARM = Alarm(record=RECORD, conditions=_conditions, coverage=_coverage)
