"""Density as a second measurement of a vessel's strength: by a meter, or by two pressures."""

from brineward.physics.calibrated import Word, density_beside
from brineward.physics.density import density_per_mass_fraction, salinity_from_density
from brineward.physics.levels import Measured, density_from_two_pressures
from brineward.physics.probe_test import DENSITY_IMPURITY
from brineward.physics.salinity import COVERAGE, NotBrine, Salinity
from brineward.physics.stands import Dense, dense
from brineward.physics.witness import Conditions, Culprit, combine, question, widened
from brineward.plant.plan import DepotPlan, Measure, SensorPlan
from brineward.plant.probes import Probe
from brineward.plant.sensors import SensorTracker
from brineward.readings.instants import SECOND, Instant

APART_FROM = 3.0
"""Once probe and density have been compared in standing brine, a disagreement is asked about from
this many standard deviations on: what then makes them differ (a tenth of a kelvin) lasts for hours,
so that at one in twenty it would be asked daily."""
METER_OFF = 2.5
"""Tests that show an error of the meter this many standard deviations from what was expected are
asked about: with a sound meter that is one in eighty, and another test settles it."""
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
        """The mass fraction on which the two last agreed: shows which has moved since."""
        self.question = ""
        """Where they disagree more than both allow: a few words; empty while they agree."""

    def weighed(self, word: Word, probe: Probe, temperature_c: float, now: Instant) -> Salinity:
        """The strength by both measurements, or by the probe alone while density is not known.

        The factor of a tested probe includes the thermometer's bias, so its strength no longer
        shares that with density's. Once observations of standing brine have compared the two,
        density is corrected by the error that its meter has shown, and the two may differ by no
        more than what changes from reading to reading.
        """
        self.question = ""
        told = self.told(now, temperature_c, probe.thermometer_uncertainty)
        if told is None:
            return word.salinity
        by_density, beside = told[0], None
        if probe.calibrated:
            beside = density_beside(
                probe.calibration,
                word,
                *told,
                seconds=now / SECOND,
                temperature_c=temperature_c,
                stand=probe.stand,
            )
        conditions = Conditions(
            temperature_c=temperature_c,
            temperature_standard_uncertainty=(
                0.0 if probe.calibrated else probe.thermometer_uncertainty
            ),
            density_from="meter" if self._meter is not None else "pressure",
            pressure_depth_m=self._spacing_m,
            last_agreed=self.agreed,
            shared=0.0 if beside is None else beside.shared,
            asks_from=COVERAGE if beside is None else APART_FROM,
        )
        if beside is not None:
            by_density = beside.salinity
        try:
            both = combine(word.salinity, by_density, conditions)
        except NotBrine:
            return word.salinity
        self._compare(word.salinity, by_density, conditions)
        if beside is not None and abs(beside.parting) > METER_OFF and not self.question:
            what = "density meter" if self._meter is not None else "pressure sensors"
            self.question = f"{what} and hydrometer tests disagree"
            both = widened(both, abs(beside.parting))
        if not self.question:
            self.agreed = round(both.mass_fraction, 6)
        return both

    def told(
        self, now: Instant, temperature_c: float, thermometer_uncertainty: float
    ) -> tuple[Salinity, Dense] | None:
        """The strength by density, by itself and with its uncertainties listed singly; None while
        density is not known, or is no brine's."""
        measured = self._density(now)
        if measured is None:
            return None
        try:
            found = salinity_from_density(
                measured.value,
                temperature_c,
                density_standard_uncertainty_kg_per_m3=measured.standard_uncertainty,
                temperature_standard_uncertainty=thermometer_uncertainty,
                impurity_standard_uncertainty=DENSITY_IMPURITY,
            )
        except NotBrine:
            return None
        slope = density_per_mass_fraction(found.mass_fraction, temperature_c)
        return found, dense(found.mass_fraction, round(measured.standard_uncertainty / slope, 5))

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
    """The strength by density of a vessel; None if density isn't measured there."""
    found = [sensors[sensor.id] for sensor in witnesses(plan, vessel)]
    if len(found) == 2:
        return SecondWitness(None, (found[0], found[1]))
    return SecondWitness(found[0], None) if found else None
