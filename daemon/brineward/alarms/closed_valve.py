"""Pump against a closed valve: by the valve's switch, and by the level that should be falling."""

from dataclasses import dataclass

from brineward.alarms.condition import Verdict, blind
from brineward.plant.plan import Pump, SensorPlan, Valve
from brineward.plant.state import PlantState, PumpState
from brineward.readings.instants import Instant

CONFIDENCE = 4.5
"""How many standard uncertainties the missing fall must be worth."""


@dataclass(frozen=True, slots=True, kw_only=True)
class PumpAgainstClosedValve:
    """The pump runs and nothing can flow.

    A switch that says shut is believed at once. Without one, or where all say open, the level of
    the tank that the pump draws from must be falling by at least four tenths of what the pump
    takes less what the fill brings; a hose end can be shut too.
    """

    alarm: str
    source: str
    pump: Pump
    running: SensorPlan
    switches: tuple[tuple[Valve, SensorPlan], ...]
    level: SensorPlan | None
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
        return self._by_level(plant, state, now, standing)

    def _shut(self, plant: PlantState, now: Instant) -> str:
        for valve, sensor in self.switches:
            track = plant.tracks[sensor.id]
            # A switch that has gone silent may have been turned since: then the level decides.
            if track.value == 0.0 and track.fresh(now) and not track.implausible:
                return valve.id
        return ""

    def _by_level(
        self, plant: PlantState, state: PumpState, now: Instant, standing: bool
    ) -> Verdict:
        if self.level is None or self.fall_m_per_s <= 0:
            return self._by_switch_alone(plant, now)
        run = state.run
        if run.drop is None or plant.tracks[self.level.id].implausible:
            return self._by_switch_alone(plant, now)
        share = 0.6 if standing else 0.4
        missing = share * self.fall_m_per_s - run.drop
        sure = CONFIDENCE * run.drop_uncertainty <= (1 - 0.4) * self.fall_m_per_s
        if not sure:
            return self._by_switch_alone(plant, now)
        facts = {"drop": run.drop, "expected": round(self.fall_m_per_s, 9)}
        return Verdict(missing > 0, run.drop, round(self.fall_m_per_s, 9), "m/s", facts)

    def _by_switch_alone(self, plant: PlantState, now: Instant) -> Verdict:
        if self.switches and all(plant.tracks[s.id].fresh(now) for _, s in self.switches):
            return Verdict(False, 0.0, None, "1")
        return blind("not enough levels yet to see whether it falls")
