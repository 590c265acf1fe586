"""Pump running dry or air-locked: by its current, its pressure, the level or its meter."""

from collections.abc import Iterator
from dataclasses import dataclass

from brineward.alarms.condition import CLEAR, Alarm, Condition, Finding, Site, Verdict, Words
from brineward.alarms.record import AlarmRecord, Coverage
from brineward.plant.plan import DepotPlan, Measure, Pump
from brineward.plant.pump_signs import PumpSigns
from brineward.readings.instants import SECOND, Instant
from brineward.readings.outputs import Priority

LOOK_SECONDS = 5.0
"""How often a running pump is judged: the readings that show it come at any time."""

RECORD = AlarmRecord(
    id="pump-dry",
    title="PUMP RUNNING DRY",
    place=12,
    priority=Priority.HIGH,
    danger="dry pump",
    cause="The tank is empty down to the suction, the suction valve is shut or the strainer "
    "blocked, or the pump has lost its prime to air.",
    consequence="A shaft seal that runs dry fails within seconds to a minute, long before anybody "
    "is there: a text saves the pump and the motor, only a local interlock saves the seal.",
    response="Shut the pump off at the panel and let it cool with everybody away from it. Read "
    "the tank's level from outside. It is primed only by somebody who knows how, cold and switched "
    "off. Look for leaks at the shaft from outside the guard before it runs again.",
    text_response="Stop it at the PANEL, let it cool. Prime it only if trained.",
    text_afterwards="The seal may be damaged: have it checked before it runs.",
    respond_within="5 minutes",
    respond_seconds=300.0,
    on_delay_seconds=15.0,
    off_delay_seconds=30.0,
    basis="A motor that idles draws under 55 % of its usual current, a pump without liquid builds "
    "up under a quarter of its usual pressure: both have to show it where both are known. Without "
    "them: the level is at the suction and doesn't fall, or no flow with every valve's switch open "
    "where no level is measured. Two readings outlast a gulp of air (common practice, no source).",
)


@dataclass(frozen=True, slots=True, kw_only=True)
class RunningDry(Finding):
    """A pump that runs without liquid: `value` is what shows it, `limit` what it is held to."""

    by: str
    """`current`, `pressure`, `level` or `flow`."""


class PumpDry(Condition[RunningDry]):
    """It runs and has no liquid to move; a valve that is shut is another alarm's."""

    def __init__(self, site: Site, signs: PumpSigns) -> None:
        self._signs, self._pump = signs, signs.pump
        by = [s for s in (signs.current, signs.pressure, signs.level, signs.meter) if s is not None]
        # Of several that show it none blinds it by its silence, so it has its own deadline.
        after = (self._pump.switch, *(by if len(by) == 1 else ()))
        super().__init__(site, self._pump.pump.id, RunningDry, judged_after=after)
        self.value_from = tuple(by)

    def at_rest(self) -> bool:
        """It is off, and was when it was judged last."""
        return self._pump.running is False and not self._pump.switch.implausible

    def judge(self, now: Instant, active: bool) -> Verdict:
        """Does it run without liquid?"""
        why = self._pump.unknown(now)
        if why:
            return Verdict.unknown(why, self._pump.switch.plan.id)
        if not self._pump.running:
            return CLEAR
        dry = self._signs.dry(now)
        if dry is None:
            return CLEAR
        finding = RunningDry(
            value=round(dry.value, 6), limit=round(dry.limit, 6), unit=dry.unit, by=dry.by
        )
        return Verdict(True, finding)

    def explains(self, finding: RunningDry, source: str) -> bool:
        """Of the same pump alone: its text has asked for it to be stopped."""
        return source == self.source

    def next_look(self, now: Instant) -> Instant | None:
        """Again and again while it runs."""
        return now + round(LOOK_SECONDS * SECOND) if self._pump.running else None

    def words(self, finding: RunningDry, now: Instant) -> Words:
        """What shows it: its current, its pressure, the level or the flow."""
        name, value = self.name, self.units.measured(finding.value or 0.0, finding.unit)
        if finding.by == "flow":
            why = "valve open: dry, air or ice?"
            return Words(f"{name} moves no brine", why, past=f"{name} moved no brine")
        if finding.by == "level":
            tank = self.units.name_of(self._pump.pump.draws_from)
            down = f"{tank} at {value}, down to the suction"
            return Words(f"{name} runs dry", down, past=f"{name} ran dry")
        shown = f"pressure {value}"
        if finding.by == "current":
            shown = f"{finding.value or 0.0:.1f} A, usually {finding.limit or 0.0:.1f} A"
        return Words(f"{name} runs dry or air-locked", shown, past=f"{name} ran dry")


def _witnesses(plan: DepotPlan, pump: Pump) -> tuple[list[str], list[str]]:
    """The sensors that show it at once, and those that show it late or less surely."""
    current, pressure, meter = (
        plan.sensor_of(measure, pump.id)
        for measure in (Measure.CURRENT, Measure.PRESSURE, Measure.FLOW)
    )
    level = plan.sensor_of(Measure.LEVEL, pump.draws_from)
    learned = pump.running_current_a is not None or meter is not None or level is not None
    sure = [s.id for s in (current if learned else None, pressure) if s is not None]
    switches = all(plan.sensor_of(Measure.OPEN, valve) for valve in pump.valves)
    by_flow = meter if level is None and pump.valves and switches else None
    return sure, [s.id for s in (level, by_flow) if s is not None]


def _conditions(site: Site) -> Iterator[PumpDry]:
    for signs in site.trackers.signs.values():
        if any(_witnesses(site.plan, signs.pump.pump)):
            yield PumpDry(site, signs)


def _coverage(plan: DepotPlan) -> Iterator[Coverage]:
    better = "a current clamp or a pressure at the pump"
    for pump in plan.pumps.values():
        running = plan.sensor_of(Measure.RUNNING, pump.id)
        sure, late = _witnesses(plan, pump)
        if running is None or not (sure or late):
            helps = f"a running switch on the pump and {better}"
            yield Coverage(RECORD.id, pump.id, "blind", (), helps)
        elif sure:
            yield Coverage(RECORD.id, pump.id, "covered", (running.id, *sure))
        else:
            yield Coverage(RECORD.id, pump.id, "indirect", (running.id, *late), better)
    if not plan.pumps:
        helps = f"the pump in the config, a running switch on it and {better}"
        yield Coverage(RECORD.id, "any pump", "blind", (), helps)


ALARM = Alarm(record=RECORD, conditions=_conditions, coverage=_coverage)
