"""Pump against a closed valve: by the valve's switch, and by the level that should be falling."""

from dataclasses import dataclass

from brineward.alarms.condition import Verdict, blind
from brineward.plant.plan import Pump, SensorPlan, Valve
from brineward.plant.pump_run import PumpRun
from brineward.plant.state import PlantState, PumpState
from brineward.readings.instants import Instant

LEAST_SHARE = 0.45
"""Of the slowest fall of a healthy pump: less than this, and something is shut."""

CONFIDENCE_EARLY = 2.0
CONFIDENCE_TURNED = 2.5
CONFIDENCE = 3.0
"""By how many standard uncertainties the fall must be less, and more for the alarm to be over.

With the fall known to 0.15 of it (`SHARE_SURE`) at worst, a pump at its slowest healthy fall is
1 - 0.45 + 2 x 0.15 = 0.85 of it away from a false alarm early in its run, over five standard
uncertainties; one that is worn to three quarters, four. Against a closed valve the first look
misses one time in six (0.45 - 0.3 = one standard uncertainty), a look 20 s later one in a thousand.
Later in a run there are many more looks, and waves that last, so more is asked: half a standard
uncertainty more of the fall of the last 40 or 50 s, by which a valve shut during the run shows.
"""


def _confidence(run: PumpRun) -> float:
    if run.early:
        return CONFIDENCE_EARLY
    return CONFIDENCE_TURNED if run.turned else CONFIDENCE


@dataclass(frozen=True, slots=True, kw_only=True)
class PumpAgainstClosedValve:
    """The pump runs and nothing can flow.

    A switch that says shut is believed at once. Without one, or where all say open, the level of
    the tank that the pump draws from must be falling by about half of what the pump takes less
    what the fill brings; a hose end can be shut too. A meter in the hose that says it flows is
    believed before the level, one that says it doesn't is not enough.
    """

    alarm: str
    source: str
    pump: Pump
    running: SensorPlan
    switches: tuple[tuple[Valve, SensorPlan], ...]
    level: SensorPlan | None
    meter: SensorPlan | None
    """The flow in its hose, where it is measured."""
    fall_m_per_s: float
    """The slowest fall that a healthy pump makes; 0 where it can't be told."""

    @property
    def watches(self) -> tuple[str, ...]:
        """Judged anew after each word of the pump, a valve or the level."""
        level = (self.level.id,) if self.level else ()
        return (self.running.id, *(sensor.id for _, sensor in self.switches), *level)

    def judge(self, plant: PlantState, now: Instant, standing: bool) -> Verdict:
        """Does it run against something shut?"""
        state = plant.pumps[self.source]
        track = plant.tracks[self.running.id]
        if state.running is None:
            return blind(f"{self.running.id} has not spoken yet")
        if track.implausible or not track.fresh(now):
            return blind(f"{self.running.id} is silent or not believable")
        if not state.running:
            return Verdict(False, 0.0, None, "1")
        shut = self._shut(plant, now)
        if shut:
            return Verdict(True, 1.0, None, "1", {"valve": shut})
        if self._flows(plant, now):
            return Verdict(False, 0.0, None, "1")
        return self._by_level(plant, state, now, standing)

    def _flows(self, plant: PlantState, now: Instant) -> bool:
        # The level stands still too while salt is tipped into the hopper and drives its brine over.
        if self.meter is None:
            return False
        return self.pump.delivers(plant.tracks[self.meter.id].believed(now))

    def _shut(self, plant: PlantState, now: Instant) -> str:
        for valve, sensor in self.switches:
            # A switch that has gone silent may have been turned since: then the level decides.
            if plant.tracks[sensor.id].believed(now) == 0.0:
                return valve.id
        return ""

    def _by_level(
        self, plant: PlantState, state: PumpState, now: Instant, standing: bool
    ) -> Verdict:
        run = state.run
        level = plant.tracks[self.level.id].believed(now) if self.level else None
        if level is None or self.fall_m_per_s <= 0:
            return self._by_switch_alone(plant, now)
        if run.drop is None or not run.sure:
            if standing:
                return blind("not enough levels yet to see whether it falls again")
            return self._by_switch_alone(plant, now)
        doubt = _confidence(run) * run.drop_uncertainty
        fall = run.drop - doubt if standing else run.drop + doubt
        active = fall < LEAST_SHARE * self.fall_m_per_s
        facts = {"drop": run.drop, "expected": round(self.fall_m_per_s, 9)}
        return Verdict(active, run.drop, round(self.fall_m_per_s, 9), "m/s", facts)

    def _by_switch_alone(self, plant: PlantState, now: Instant) -> Verdict:
        told = [plant.tracks[sensor.id].believed(now) for _, sensor in self.switches]
        if told and None not in told:
            return Verdict(False, 0.0, None, "1")
        return blind("not enough levels yet to see whether it falls")
