"""Brine weak and brine strong: the strength against its band, with its uncertainty."""

from dataclasses import dataclass

from brineward.alarms.condition import Verdict, blind
from brineward.physics.salinity import NotBrine, Salinity
from brineward.plant.plan import SensorPlan
from brineward.plant.state import PlantState
from brineward.plant.strengths import Told
from brineward.readings.instants import Instant

SPAN_SECONDS = 180.0
"""The strength of a standing tank is the median of so many seconds, the time that it settles in."""

NIGHT_FALLS = 2
NIGHT_SPAN_SECONDS = 600.0
NIGHT_UNCERTAINTIES = 2.0
NIGHT_BEYOND = 0.005
"""On a storm night the tank never settles. Where it was loaded from so often since it last stood,
it is judged while it moves: by the median of ten minutes, which must be outside by so many standard
uncertainties and half a percent of strength more.

In six simulated storm nights and a busy week the medians of ten minutes in a moving tank were
0.5 % or more inside both limits, the true strength never under 22.5 %.
"""


@dataclass(frozen=True, slots=True, kw_only=True)
class StrengthOutside:
    """The strength is under (`side` -1) or over (+1) a limit by one standard uncertainty or more.

    Judged only while the probe is covered and the tank has stood still long enough to be blended:
    weak readings while a batch is still blending are the plant's normal life. Only a tank that is
    loaded from again and again is judged while it moves, and must then be far outside. It clears
    when the value itself is back inside, in a tank that stands. Where the level is not known,
    cover and blending can't be judged and the condition is blind.
    """

    alarm: str
    source: str
    side: int
    limit: float
    probe: SensorPlan
    thermometer: SensorPlan
    has_level: bool

    @property
    def watches(self) -> tuple[str, ...]:
        """Judged anew after each reading of the probe."""
        return (self.probe.id,)

    def judge(self, plant: PlantState, now: Instant, standing: bool) -> Verdict:
        """Outside its limit beyond one standard uncertainty? Unknown while it can't be told."""
        why = self._untold(plant)
        if why:
            return blind(why)
        if self.has_level and not plant.settled(self.source, now):
            return self._moving(plant)
        told = plant.strengths[self.source].middle(SPAN_SECONDS)
        if told is None:
            return blind("no strength yet")
        return self._verdict(told, 0.0 if standing else told.standard_uncertainty)

    def _untold(self, plant: PlantState) -> str:
        """Why the probe tells nothing of the brine; empty where it does."""
        found = plant.strength.get(self.source)
        if found is None:
            return "no fresh temperature beside the conductivity"
        for sensor in (self.probe, self.thermometer):
            if plant.tracks[sensor.id].implausible:
                return f"{sensor.id} is not believable"
        if self.has_level and not plant.covered(self.probe):
            return "the probe is not known to be covered"
        return found.sentence if isinstance(found, NotBrine) else ""

    def _moving(self, plant: PlantState) -> Verdict:
        """Far outside, in a tank that is loaded from again and again? Else it can't be told."""
        if plant.levels[self.source].falls >= NIGHT_FALLS:
            told = plant.strengths[self.source].middle(NIGHT_SPAN_SECONDS)
            if told is not None:
                margin = NIGHT_UNCERTAINTIES * told.standard_uncertainty + NIGHT_BEYOND
                verdict = self._verdict(told, margin)
                if verdict.active:
                    return verdict
        return blind("the tank is moving or blending")

    def _verdict(self, told: Told, margin: float) -> Verdict:
        # Rounded before the comparison, so that all processors agree.
        beyond = round(self.side * (told.mass_fraction - self.limit) - margin, 6)
        return Verdict(
            beyond > 0,
            round(told.mass_fraction, 5),
            self.limit,
            "1",
            {"low": round(told.low, 5), "high": round(told.high, 5)},
        )


@dataclass(frozen=True, slots=True, kw_only=True)
class StrengthUnknown:
    """A covered probe in a standing tank reads what no brine there can."""

    alarm: str
    source: str
    probe: SensorPlan

    @property
    def watches(self) -> tuple[str, ...]:
        """Judged anew after each reading of the probe."""
        return (self.probe.id,)

    def judge(self, plant: PlantState, now: Instant, standing: bool) -> Verdict:
        """No brine, where there should be some?"""
        found = plant.strength.get(self.source)
        if found is None:
            return blind("no fresh temperature beside the conductivity")
        if not isinstance(found, NotBrine):
            return Verdict(False)
        if not plant.covered(self.probe) or not plant.settled(self.source, now):
            return blind("the tank is moving, or the probe is not known to be covered")
        return Verdict(True, None, None, "", {"told": found.sentence, "reason": found.reason})


@dataclass(frozen=True, slots=True, kw_only=True)
class WitnessesPart:
    """Conductivity and density tell strengths further apart than both allow."""

    alarm: str
    source: str
    probe: SensorPlan
    density: tuple[str, ...]

    @property
    def watches(self) -> tuple[str, ...]:
        """Judged anew after each reading of the probe."""
        return (self.probe.id,)

    def judge(self, plant: PlantState, now: Instant, standing: bool) -> Verdict:
        """Do they part? Unknown while the tank moves or a witness is missing."""
        if not plant.covered(self.probe) or not plant.settled(self.source, now):
            return blind("the tank is moving, or the probe is not known to be covered")
        if not isinstance(plant.strength.get(self.source), Salinity):
            return blind("the probe tells no strength")
        parted = plant.witnesses[self.source].parted
        return Verdict(bool(parted), None, None, "", {"told": parted})
