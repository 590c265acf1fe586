"""Density as the second witness of a vessel's strength: by a meter, or by two pressures."""

from brineward.physics.density import salinity_from_density
from brineward.physics.levels import Measured, density_from_two_pressures
from brineward.physics.probe_test import DENSITY_IMPURITY
from brineward.physics.salinity import NotBrine, Salinity
from brineward.physics.witness import Conditions, Culprit, combine, question
from brineward.plant.plan import DepotPlan, Measure, SensorPlan
from brineward.plant.sensors import SensorTracker
from brineward.readings.instants import Instant

SPACING_STANDARD_UNCERTAINTY_M = 0.002
"""How well the height between two pressure probes is known (common practice, no source)."""

_IN_SHORT: dict[Culprit, str] = {
    "conductivity-low": "probe fouled",
    "conductivity-high": "probe reads high",
    "thermometer": "thermometer off",
    "pressure": "pressure sensor needs zeroing",
    "density-meter": "density meter off",
    "test": "test off",
}


class SecondWitness:
    """What density says of one vessel's strength, weighed with what conductivity says."""

    def __init__(
        self, meter: SensorTracker | None, pressures: tuple[SensorTracker, SensorTracker] | None
    ) -> None:
        self._meter = meter
        self._lower: SensorTracker | None = pressures[0] if pressures else None
        self._upper: SensorTracker | None = pressures[1] if pressures else None
        self.agreed: float | None = None
        """The mass fraction on which the two last agreed: tells who has moved since."""
        self.question = ""
        """Where they disagree more than both allow: a few words; empty while they agree."""

    def weighed(
        self,
        by_conductivity: Salinity,
        *,
        temperature_c: float,
        temperature_standard_uncertainty: float,
        tested: bool,
        now: Instant,
    ) -> Salinity:
        """The strength by both witnesses, or by conductivity alone while density is not known.

        A probe that was tested has the thermometer's bias in its factor: its word no longer shares
        that with density's.
        """
        measured = self._density(now)
        if measured is None:
            self.question = ""
            return by_conductivity
        conditions = Conditions(
            temperature_c=temperature_c,
            temperature_standard_uncertainty=0.0 if tested else temperature_standard_uncertainty,
            density_from="meter" if self._meter is not None else "pressure",
            pressure_depth_m=self._spacing_m,
            last_agreed=self.agreed,
        )
        try:
            by_density = salinity_from_density(
                measured.value,
                temperature_c,
                density_standard_uncertainty_kg_per_m3=measured.standard_uncertainty,
                temperature_standard_uncertainty=temperature_standard_uncertainty,
                impurity_standard_uncertainty=DENSITY_IMPURITY,
            )
            both = combine(by_conductivity, by_density, conditions)
        except NotBrine:
            self.question = ""
            return by_conductivity
        self._compare(by_conductivity, by_density, conditions)
        if not self.question:
            self.agreed = round(both.mass_fraction, 6)
        return both

    @property
    def _spacing_m(self) -> float:
        if self._lower is None or self._upper is None:
            return 1.0
        return self._upper.plan.mounted_m - self._lower.plan.mounted_m

    def _density(self, now: Instant) -> Measured | None:
        if self._meter is not None:
            value = self._meter.believed(now)
            doubt = self._meter.plan.standard_uncertainty
            return None if value is None else Measured(value, doubt)
        if self._lower is None or self._upper is None:
            return None
        lower, upper = self._lower.believed(now), self._upper.believed(now)
        if lower is None or upper is None:
            return None
        try:
            return density_from_two_pressures(
                lower,
                upper,
                self._spacing_m,
                pressure_standard_uncertainty_pa=self._lower.plan.standard_uncertainty,
                spacing_standard_uncertainty_m=SPACING_STANDARD_UNCERTAINTY_M,
            )
        except NotBrine:  # the upper one is bare
            return None

    def _compare(
        self, by_conductivity: Salinity, by_density: Salinity, conditions: Conditions
    ) -> None:
        asked = question(by_conductivity, by_density, conditions)
        self.question = ""
        if asked is not None:
            says = (
                f"probe {by_conductivity.mass_fraction:.1%}, density {by_density.mass_fraction:.1%}"
            )
            self.question = f"{says}, {_IN_SHORT[asked.culprit]}?"


def witnesses(plan: DepotPlan, vessel: str) -> tuple[SensorPlan, ...]:
    """The sensors that density is read from: a meter, else the lowest and the highest pressure."""
    meter = plan.sensor_of(Measure.DENSITY, vessel)
    if meter is not None:
        return (meter,)
    pressures = sorted(
        (s for s in plan.sensors.values() if s.measures is Measure.PRESSURE and s.at == vessel),
        key=lambda s: s.mounted_m,
    )
    if len(pressures) < 2 or pressures[-1].mounted_m - pressures[0].mounted_m < 0.1:
        return ()
    return (pressures[0], pressures[-1])


def second_witness(
    plan: DepotPlan, vessel: str, sensors: dict[str, SensorTracker]
) -> SecondWitness | None:
    """The second witness of a vessel's strength; None where density isn't measured."""
    found = [sensors[sensor.id] for sensor in witnesses(plan, vessel)]
    if len(found) == 2:
        return SecondWitness(None, (found[0], found[1]))
    return SecondWitness(found[0], None) if found else None
