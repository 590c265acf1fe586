"""Brine weak and brine strong: the strength against its band, with its uncertainty."""

from dataclasses import dataclass

from brineward.alarms.condition import Verdict, blind
from brineward.physics.salinity import NotBrine, Salinity
from brineward.plant.plan import SensorPlan
from brineward.plant.state import PlantState
from brineward.readings.instants import Instant


@dataclass(frozen=True, slots=True, kw_only=True)
class StrengthOutside:
    """The strength is under (`side` -1) or over (+1) a limit by one standard uncertainty or more.

    Judged only while the probe is covered and the tank has stood still long enough to be blended:
    weak readings while a batch is still blending are the plant's normal life. It clears when the
    value itself is back inside. Where the level is not known, cover and blending can't be judged
    and the condition is blind.
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
        found = plant.strength.get(self.source)
        if found is None:
            return blind("no fresh temperature beside the conductivity")
        for sensor in (self.probe, self.thermometer):
            if plant.tracks[sensor.id].implausible:
                return blind(f"{sensor.id} is not believable")
        if self.has_level:
            if not plant.covered(self.probe):
                return blind("the probe is not known to be covered")
            if not plant.settled(self.source, now):
                return blind("the tank is moving or blending")
        if isinstance(found, NotBrine):
            return blind(found.sentence)
        value = found.mass_fraction
        margin = 0.0 if standing else found.standard_uncertainty
        # Rounded before the comparison, so that all processors agree.
        beyond = round(self.side * (value - self.limit) - margin, 6)
        return Verdict(
            beyond > 0,
            round(value, 5),
            self.limit,
            "1",
            {
                "low": round(found.interval_95[0], 5),
                "high": round(found.interval_95[1], 5),
            },
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
