"""Pump left running: longer than any load or fill takes, or at an hour when nobody loads."""

from collections.abc import Iterator
from dataclasses import dataclass

from brineward.alarms.condition import (
    CLEAR,
    Alarm,
    Condition,
    Finding,
    Site,
    Verdict,
    Words,
    covered_by_one,
)
from brineward.alarms.record import AlarmRecord, Coverage
from brineward.plant.mode import ModeTracker
from brineward.plant.plan import DepotPlan, Measure, Pump
from brineward.plant.pumps import PumpTracker
from brineward.readings.instants import SECOND, Instant
from brineward.readings.modes import Mode
from brineward.readings.outputs import Priority
from brineward.wording.operator_units import duration

RECORD = AlarmRecord(
    id="pump-left-running",
    title="PUMP LEFT RUNNING",
    place=35,
    priority=Priority.MEDIUM,
    danger="pump left on",
    cause="Somebody was called away, the hose hangs back in the tank, or a load was forgotten.",
    consequence="The tank runs empty and the pump dry, the truck or the storage tank overflows, "
    "or the pump heats what goes round and round.",
    response="Call whoever loads there. If nobody is with it, shut the pump off at the panel; "
    "shut the hose valve after that, not before. Look for a spill from outside.",
    text_response="Call whoever loads. No answer? Stop it at PANEL, THEN shut valve.",
    respond_within="15 minutes",
    respond_seconds=900.0,
    on_delay_seconds=0.0,
    off_delay_seconds=0.0,
    basis="`longest_run` of the pump, else what its tank holds up to the brim at the pump's flow "
    "with the fill running: then that tank would be empty. And the depot's `idle_hours`, where it "
    "has some; not on storm watch, when trucks load at any hour. Judged at that very moment, no "
    "reading needed.",
    suppressed_by=("closed-valve", "pump-dry", "depot-silent", "link-lost"),
)


@dataclass(frozen=True, slots=True, kw_only=True)
class LeftRunning(Finding):
    """A pump that runs: `value` seconds, of `limit` that its longest run takes."""

    began: Instant
    idle_hours: bool
    """It runs at an hour when nobody loads."""


class PumpLeftRunning(Condition[LeftRunning]):
    """It runs longer than its largest load or fill can take, or in the depot's idle hours."""

    def __init__(self, site: Site, pump: PumpTracker, longest: float | None) -> None:
        self._pump = pump
        self._longest = longest
        self._hours, self._zone = site.plan.idle_hours, site.plan.zone
        self._mode: ModeTracker = site.trackers.mode
        after = (pump.switch, self._mode)
        super().__init__(
            site, pump.pump.id, LeftRunning, judged_after=after, limit=longest, unit="s"
        )

    def at_rest(self) -> bool:
        """It is stopped, and was before."""
        return self._pump.running is False and not self._pump.switch.implausible

    def judge(self, now: Instant, active: bool) -> Verdict:
        """Has it run for too long, or at the wrong hour?"""
        why = self._pump.unknown(now)
        if why:
            return Verdict.unknown(why, self._pump.switch.plan.id)
        if not self._pump.running:
            return CLEAR
        ran = (now - self._pump.since) / SECOND
        idle = self._hours is not None and self._hours.hold(now, self._zone)
        idle = idle and self._mode.mode is not Mode.STORM_WATCH
        if not idle and (self._longest is None or ran < self._longest):
            return CLEAR
        finding = LeftRunning(
            value=round(ran),
            limit=self._longest,
            unit="s",
            began=self._pump.since,
            idle_hours=idle,
        )
        return Verdict(True, finding)

    def next_look(self, now: Instant) -> Instant | None:
        """When it has run for as long as it may, or the idle hours begin."""
        if not self._pump.running:
            return None
        looks = []
        if self._longest is not None:
            looks.append(self._pump.since + round(self._longest * SECOND))
        if self._hours is not None:
            looks.append(self._hours.next_begin(now, self._zone))
        return min((look for look in looks if look > now), default=None)

    def words(self, finding: LeftRunning, now: Instant) -> Words:
        """For how long it has run, against its longest run."""
        ran = duration(finding.value or 0.0)
        largest = "" if finding.limit is None else f" (longest load: {duration(finding.limit)})"
        return Words(
            f"{self.name} {'running off-hours' if finding.idle_hours else 'left running'}",
            f"{ran}{largest}",
            past=f"{self.name} was left running",
            since=finding.began,
        )


def longest_run_seconds(plan: DepotPlan, pump: Pump) -> float | None:
    """As the config has it, or what the pump's whole tank takes with the fill running.

    None where the fill brings as much as the pump takes: it may run for ever.
    """
    if pump.longest_run_seconds is not None:
        return pump.longest_run_seconds
    vessel = plan.vessels[pump.draws_from]
    fills = sum(fill.flow_m3_per_s for fill in plan.fills if fill.into == vessel.id)
    emptied = pump.flow_m3_per_s - fills
    return vessel.shape.volume_m3(vessel.brim_m) / emptied if emptied > 0 else None


def _conditions(site: Site) -> Iterator[PumpLeftRunning]:
    for pump in site.trackers.pumps.values():
        longest = longest_run_seconds(site.plan, pump.pump)
        if longest is not None or site.plan.idle_hours is not None:
            yield PumpLeftRunning(site, pump, longest)


def _coverage(plan: DepotPlan) -> Iterator[Coverage]:
    for pump in plan.pumps.values():
        helps = "a running switch on the pump"
        yield covered_by_one(RECORD, plan, Measure.RUNNING, pump.id, helps)
    if not plan.pumps:
        helps = "the pump in the config, and a running switch on it"
        yield Coverage(RECORD.id, "any pump", "blind", (), helps)


ALARM = Alarm(record=RECORD, conditions=_conditions, coverage=_coverage)
