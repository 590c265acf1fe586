"""Pump against a closed valve: by the valve's switch, and by the level that should be falling."""

from collections.abc import Iterator
from dataclasses import dataclass, replace

from brineward.alarms.condition import CLEAR, Alarm, Condition, Finding, Site, Verdict, Words
from brineward.alarms.record import AlarmRecord, Coverage
from brineward.physics.heating import seconds_to_temperature
from brineward.plant.plan import DepotPlan, Measure, Pump, Valve
from brineward.plant.pump_run import PumpRun
from brineward.plant.pump_signs import PumpSigns
from brineward.plant.pumps import PumpTracker
from brineward.plant.sensors import SensorTracker
from brineward.plant.shared_vessel import TOLD_SHARE, Drawing
from brineward.readings.instants import SECOND, Instant
from brineward.readings.outputs import Priority
from brineward.wording.operator_units import duration

CONFIDENCE_EARLY = 2.0
CONFIDENCE_TURNED = 2.5
CONFIDENCE = 3.0
"""How many standard uncertainties below what is wanted the fall must lie to raise the alarm, and
above it to clear: 2 early in a run (few checks), 3 later (many checks, waves), 2.5 for the fall of
the last 40 or 50 s.

With the fall known to 0.15 of it (`SHARE_SURE`) at worst, a pump at its slowest healthy fall is
1 - 0.45 + 2 x 0.15 = 0.85 of it away from a false alarm early in its run, over five standard
uncertainties; one that is worn to three quarters, four. Against a closed valve the first check
misses one time in six (0.45 - 0.3 = one standard uncertainty), one 20 s later one in a thousand.
Later in a run there are many more checks, and waves that last, so more is required: half a standard
uncertainty more of the fall of the last 40 or 50 s, by which a valve shut during the run shows.
"""

HOT_C = 60.0
"""From here on plastic pumps and seals suffer, and skin burns (common practice, no source)."""
USUAL_C = 10.0
"""What brine is taken for where its temperature isn't known, or is lower."""

TEXT_AFTER_SECONDS = 60.0
"""Most valves that are opened late are opened within this by who started the pump (common practice,
no source). Nobody who is called can do anything sooner, so they are called only after it."""

RECORD = AlarmRecord(
    id="closed-valve",
    title="PUMP AGAINST CLOSED VALVE",
    place=10,
    priority=Priority.HIGH,
    danger="closed valve",
    cause="The pump was started before the hose valve was opened, the valve was shut before the "
    "pump was stopped, a hose end is shut, the line is frozen, or the tank is empty.",
    consequence="The liquid in a deadheaded pump heats by several degrees a minute; seals fail, "
    "and casings have burst after 20 to 40 minutes.",
    response="Shut the pump off at the panel, not at the pump, and let it cool with everybody "
    "away from it; where two pumps are named, both. Never open a valve on a hot pump. Have it "
    "looked at before it runs again.",
    text_response="Stop it at the PANEL. Stay away until cold. Open NO valve.",
    text_afterwards="The pump may still be hot: keep away, open NO valve.",
    respond_within="5 minutes",
    respond_seconds=300.0,
    on_delay_seconds=3.0,
    off_delay_seconds=30.0,
    basis="Heating: 1.5 kW of shut-off power into {0.005 m3} is about {4.6 K} a minute (computed). "
    "The delay lets two switches that change together report in either order (common practice, no "
    "source). Where a switch shows the valve shut, it is texted once it has lasted a minute: who "
    "started the pump mostly opens the valve by then, and nobody who is called could be there "
    "sooner. It is texted at once where the pump's heating is not known or would reach {60 degC} "
    "within seven minutes, where its start was not seen, where it was raised in the hour before, "
    "and by level alone, which takes half a minute to show it. By level alone: under half of the "
    "slowest fall that the pump makes; not while a meter in its hose shows that a quarter of its "
    "flow passes, nor where current or pressure show that it has no liquid: then it runs dry. "
    "While another pump draws from the same tank, the level must fall faster than half way between "
    "the most that the other makes by itself and the least that both make when worn to three "
    "quarters (common practice, no source); where these lie too close, the level shows nothing.",
)


@dataclass(frozen=True, slots=True, kw_only=True)
class Deadheaded(Finding):
    """A pump that runs and moves nothing."""

    valve: str = ""
    """The valve whose switch says that it is shut; empty where the level shows it."""
    beside: str = ""
    """The pump that draws too, where either of the two may be the one."""
    hot_at: Instant | None = None
    """When the liquid in the pump reaches `HOT_C`, computed; None where the pump isn't known."""


class PumpAgainstClosedValve(Condition[Deadheaded]):
    """The pump runs and nothing can flow.

    A switch that says shut is believed at once. Without one, or where all say open, the level of
    the tank that the pump draws from must be falling by about half of what the pump takes less
    what the fill brings; a hose end can be shut too. A meter in the hose that says it flows is
    believed before the level, one that says it doesn't is not enough. A pump that is shown to have
    no liquid runs dry instead, and one that two sensors show to be stopped doesn't run at all.
    """

    def __init__(self, site: Site, pump: PumpTracker) -> None:
        sensors, plan = site.trackers.sensors, site.plan
        self._pump = pump
        self._switches = _switches(plan, pump.pump, sensors)
        level = site.trackers.levels.get(pump.pump.draws_from)
        self._level = None if level is None else level.sensor
        self._signs = site.trackers.signs[pump.pump.id]
        self._signs_of = site.trackers.signs
        self._expected = pump.shared.alone_m_per_s
        """The slowest fall that a healthy pump makes, m/s; 0 where it can't be known."""
        levels = () if self._level is None else (self._level,)
        valves = (switch for _, switch in self._switches)
        after = (pump.switch, *valves, *levels)
        super().__init__(site, pump.pump.id, Deadheaded, judged_after=after)
        self._target = plan.strength.target
        thermometer = plan.sensor_of(Measure.TEMPERATURE, pump.pump.draws_from)
        self._thermometer = None if thermometer is None else sensors[thermometer.id]
        # A polled switch may lag behind what it shows.
        polled = [s.plan.every_seconds for _, s in self._switches if not s.plan.on_change]
        self.on_delay_at_least = max(polled) + 1.0 if polled else 0.0

    def at_rest(self) -> bool:
        """It is off, and was when it was judged last."""
        return self._pump.running is False and not self._pump.switch.implausible

    def without(self, silent: SensorTracker) -> Verdict | None:
        """Blind if a valve's switch is all that there is, even while the pump is stopped."""
        if self._level is None and silent is not self._pump.switch:
            name = silent.plan.id
            return Verdict.unknown(f"{self.units.name_of(name)} is silent", name)
        return super().without(silent)

    def judge(self, now: Instant, active: bool) -> Verdict:
        """Does it run against something shut?"""
        why = self._pump.unknown(now)
        if why:
            return Verdict.unknown(why, self._pump.switch.plan.id)
        if not self._pump.running or self._signs.is_stopped(now):
            return CLEAR
        for valve, switch in self._switches:
            # A switch that has gone silent may have been turned since: then the level decides.
            if switch.believed(now) == 0.0:
                found = Deadheaded(value=1.0, unit="1", valve=valve.id)
                after = self._text_after(now)
                return Verdict(True, replace(self._heats(found, now), text_after_seconds=after))
        # The level is still, too, while salt tipped into the hopper drives brine across.
        if self._signs.delivers(now) or self._signs.dry(now) is not None:
            return CLEAR
        return self._by_level(self._pump.run, now, active)

    def _by_level(self, run: PumpRun, now: Instant, active: bool) -> Verdict:
        level = self._level.believed(now) if self._level else None
        if level is None or self._expected <= 0:
            return self._by_switch_alone(now)
        if run.drop is None or not run.surely(self._expected):
            if active:
                return Verdict.not_now("not enough levels yet to see whether it falls again")
            return self._by_switch_alone(now)
        doubt = _confidence(run) * run.drop_uncertainty
        fall = run.drop - doubt if active else run.drop + doubt
        expected = round(self._expected, 9)
        finding = self._heats(Deadheaded(value=run.drop, limit=expected, unit="m/s"), now)
        if fall >= TOLD_SHARE * self._expected:
            return self._beside_others(fall, finding, now, active)
        if active and self._opened_lately(self._pump, now):
            return Verdict.not_now("open now, too lately to see whether the level falls")
        return Verdict(True, finding)

    def _beside_others(
        self, fall: float, finding: Deadheaded, now: Instant, active: bool
    ) -> Verdict:
        """The level falls as a pump makes it: is it this one, or another that draws too?

        Where one of several moves nothing, that is told once: of the one that started last.
        """
        shared, run = self._pump.shared, self._pump.run
        untold = shared.untold(now)
        if untold is not None:
            why, sensor = untold
            return Verdict.unknown(why, sensor) if sensor else Verdict.not_now(why)
        wanted, others = shared.wanted_m_per_s(), shared.running
        if not others or wanted is None or (run.sure and fall >= wanted):
            return CLEAR
        suspects = [one for one in others if not self._signs_of[one.pump.id].delivers(now)]
        why = self._not_told_beside(others, now)
        if not active and any(self._started_before(one) for one in suspects):
            why = why or "told of the pump that started last"
        if why:
            return Verdict.not_now(why)
        beside = suspects[0].pump.id if suspects else ""
        return Verdict(True, replace(finding, limit=round(wanted, 9), beside=beside))

    def _not_told_beside(self, others: list[Drawing], now: Instant) -> str:
        """Why a fall that is too slow for all pumps isn't held against this one; empty if it is."""
        if not self._pump.run.sure:
            return "not enough levels yet to see whether all pumps deliver"
        if any(self._explains(self._signs_of[other.pump.id], now) for other in others):
            return "another pump delivers nothing, and that is told of it"
        if any(self._opened_lately(one, now) for one in (self._pump, *others)):
            return "open now, too lately to see whether the level falls"
        return ""

    def _explains(self, signs: PumpSigns, now: Instant) -> bool:
        """Is another pump known to deliver nothing?"""
        shut = any(valve.believed(now) == 0.0 for valve in signs.valves)
        return shut or signs.is_stopped(now) or signs.dry(now) is not None

    def _started_before(self, other: Drawing) -> bool:
        its, our = self._signs_of[other.pump.id].pump, self._pump
        return (our.since, our.pump.id) < (its.since, its.pump.id)

    def _opened_lately(self, pump: Drawing, now: Instant) -> bool:
        """May a valve that every switch shows open have been opened since this pump started?"""
        signs = self._signs_of[pump.pump.id]
        open_ = [switch.believed(now) for switch in signs.valves]
        lately = now - signs.pump.since < 2 * TEXT_AFTER_SECONDS * SECOND
        return lately and bool(open_) and all(open_)

    def _by_switch_alone(self, now: Instant) -> Verdict:
        open_ = [switch.believed(now) for _, switch in self._switches]
        if open_ and None not in open_:
            return CLEAR
        why = "not enough levels yet to see whether it falls"
        witnesses = (*(switch for _, switch in self._switches), self._level)
        missing = [one.plan.id for one in witnesses if one and one.believed(now) is None]
        return Verdict.unknown(why, *missing) if missing else Verdict.not_now(why)

    def _heats(self, finding: Deadheaded, now: Instant) -> Deadheaded:
        """The finding with when the pump is hot, where that is known."""
        seconds = self._seconds_to_hot(now)
        if seconds is None:
            return finding
        hot_at = self._pump.since + round(seconds * SECOND)
        return replace(finding, hot_at=hot_at, harm_soon_at=hot_at)

    def _text_after(self, now: Instant) -> float:
        """How long whoever started it has before others are called, where there is time; else 0."""
        seconds = self._seconds_to_hot(now)
        respond = RECORD.respond_seconds or 0.0
        # Where it can't be judged just then, the text waits for as long again at most.
        enough = seconds is not None and seconds >= 2 * TEXT_AFTER_SECONDS + respond
        return TEXT_AFTER_SECONDS if enough and self._pump.start_seen else 0.0

    def _seconds_to_hot(self, now: Instant) -> float | None:
        """From the start of a deadheaded pump to `HOT_C` in it; errs early. None: not known."""
        pump = self._pump.pump
        if pump.shut_off_power_w is None or pump.casing_m3 is None:
            return None
        brine = None if self._thermometer is None else self._thermometer.believed(now)
        from_c = max(USUAL_C, USUAL_C if brine is None else brine)
        power_w, liquid_m3 = pump.shut_off_power_w, pump.casing_m3
        try:
            return seconds_to_temperature(power_w, liquid_m3, self._target, from_c, HOT_C)
        except ValueError:
            return None  # no pump has such a power or size: its other words are as good

    def explains(self, finding: Deadheaded, source: str) -> bool:
        """Of the pumps alone that its text has asked to be stopped."""
        return source in (self.source, finding.beside)

    def words(self, finding: Deadheaded, now: Instant) -> Words:
        """Which valve is shut, or what else it may be; and how soon the pump is hot."""
        left = ""
        if finding.hot_at is not None:
            hot, seconds = self.units.whole_degrees(HOT_C), (finding.hot_at - now) / SECOND
            left = f"pump {hot} in {duration(seconds)}" if seconds > 0 else f"past {hot}"
        if finding.valve:
            against = f"against closed {self.units.name_of(finding.valve)}"
            past = f"{self.name} ran {against}"
            return Words(f"{self.name} runs {against}", time_left=left, past=past)
        tank = self.units.name_of(self._pump.pump.draws_from)
        if finding.beside:
            either = f"{self.name} or {self.units.name_of(finding.beside)}"
            return Words(
                f"{either} moves no brine",
                time_left=left,
                detail=f"stop both: {tank} level falls too slowly; valve shut, ice, air, empty?",
                past=f"{either} moved no brine",
                response=RECORD.text_response.replace("Stop it", "Stop both"),
            )
        return Words(
            f"{self.name} moves no brine: valve shut, ice, air, empty?",
            time_left=left,
            detail=f"{tank} level not falling",
            past=f"{self.name} moved no brine",
        )


def _confidence(run: PumpRun) -> float:
    if run.early:
        return CONFIDENCE_EARLY
    return CONFIDENCE_TURNED if run.turned else CONFIDENCE


def _switches(
    plan: DepotPlan, pump: Pump, sensors: dict[str, SensorTracker]
) -> tuple[tuple[Valve, SensorTracker], ...]:
    return tuple(
        (plan.valves[valve], sensors[switch.id])
        for valve in pump.valves
        if (switch := plan.sensor_of(Measure.OPEN, valve)) is not None
    )


def _conditions(site: Site) -> Iterator[PumpAgainstClosedValve]:
    for pump in site.trackers.pumps.values():
        levelled = pump.pump.draws_from in site.trackers.levels
        if levelled or _switches(site.plan, pump.pump, site.trackers.sensors):
            yield PumpAgainstClosedValve(site, pump)


def _coverage(plan: DepotPlan) -> Iterator[Coverage]:
    helps = "a running switch on the pump and a switch on its valve"
    for pump in plan.pumps.values():
        running = plan.sensor_of(Measure.RUNNING, pump.id)
        switches = [s.id for v in pump.valves if (s := plan.sensor_of(Measure.OPEN, v))]
        level = plan.sensor_of(Measure.LEVEL, pump.draws_from)
        by = (*switches, level.id) if level else tuple(switches)
        if running is None or not by:
            yield Coverage(RECORD.id, pump.id, "blind", (), helps)
        elif switches:
            yield Coverage(RECORD.id, pump.id, "covered", (running.id, *by))
        else:
            better = 'a switch on each valve of the hose (measures = "open")'
            yield Coverage(RECORD.id, pump.id, "indirect", (running.id, *by), better)
    if not plan.pumps:
        yield Coverage(RECORD.id, "any pump", "blind", (), f"the pump in the config, and {helps}")


ALARM = Alarm(record=RECORD, conditions=_conditions, coverage=_coverage)
