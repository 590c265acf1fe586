"""Two measurements of one strength, weighed together, and questioned when they disagree.

They are by conductivity and by density, and both are read with a thermometer. If it is the same
one, its error drives them apart in opposite directions (a warm error makes conductivity read weak
and density read strong), so the two are weighed by their full covariance, and part of the error
cancels.

A thermometer that is wrong by a degree moves the strength by conductivity by 1.5 to 3 % by mass and
that by density by 0.06 %, so two readings can't distinguish a cold thermometer from a probe that
reads high, nor a warm one from a film on the probe: a question names both.
"""

from dataclasses import dataclass
from math import erf, isfinite, log, sqrt
from typing import Literal

from brineward.physics import conductivity as conductivity_curve
from brineward.physics.density import density_per_kelvin, density_per_mass_fraction
from brineward.physics.levels import STANDARD_GRAVITY_M_PER_S2
from brineward.physics.refusals import NotBrine
from brineward.physics.salinity import COVERAGE, Salinity

DensityFrom = Literal["pressure", "meter", "test"]
Culprit = Literal[
    "conductivity-low", "conductivity-high", "thermometer", "pressure", "density-meter", "test"
]

TYPICAL_FOULING = 0.05
"""A film, scale, or air about a probe: it reads a few percent low before it reads nothing."""
TYPICAL_CONDUCTIVITY_HIGH = 0.015
"""A probe has few ways to read high: a wrong factor, or other salts (road salt: under 1 %)."""
TYPICAL_THERMOMETER_K = 1.0
TYPICAL_PRESSURE_ZERO_PA = 200.0
TYPICAL_DENSITY_METER_KG_PER_M3 = 3.0
"""Gas bubbles or deposit on an inline meter."""
TYPICAL_TEST_KG_PER_M3 = 3.0
"""A hydrometer read three marks off, or in a sample that had cooled."""
ODDS: dict[Culprit, float] = {
    "conductivity-low": 1.0,
    "conductivity-high": 0.3,
    "thermometer": 0.1,
    "pressure": 0.3,
    "density-meter": 0.3,
    "test": 0.3,
}
"""How often each happens, beside a film: a probe in brine fouls every season, while a thermometer
that was right is seldom a degree off afterwards."""
MAY_HAVE_CHANGED = 0.005
"""How far the true strength may have moved since the two last agreed. All these sizes are
judgement: common practice, no source."""


@dataclass(frozen=True, slots=True, kw_only=True)
class Conditions:
    """The conditions in which both were read."""

    temperature_c: float
    temperature_standard_uncertainty: float
    """Of the thermometer that both share, K; 0 where each has its own."""
    density_from: DensityFrom = "pressure"
    pressure_depth_m: float = 1.0
    """Height of brine between the two probes, or above the one: what a zero error acts over, m."""
    last_agreed: float | None = None
    """The mass fraction at which the two last agreed, or of the last test: shows which moved."""
    shared: float = 0.0
    """Covariance of the two mass fractions by what they were compared with, beyond the
    thermometer's (`calibrated.density_beside`)."""
    asks_from: float = COVERAGE
    """From this many standard deviations of their difference on it is asked which is wrong."""


@dataclass(frozen=True, slots=True, kw_only=True)
class Question:
    """The two disagree by more than their intervals allow; which is the likelier culprit."""

    difference: float
    """Conductivity's mass fraction less density's."""
    standard_uncertainty: float
    chance: float
    """How often two sound measurements would differ by as much."""
    culprit: Culprit
    others: tuple[Culprit, ...]
    """The other explanations, likelier first."""
    sentence: str


def temperature_covariance(strength: float, conditions: Conditions) -> float:
    """The covariance of the two mass fractions by their shared thermometer; 0 or below.

    Strength above 0, up to saturation; temperature -21.1 to 40 degC.
    Raises: ValueError outside that range.
    """
    by_conductivity, by_density = _per_kelvin(strength, conditions.temperature_c)
    return by_conductivity * by_density * conditions.temperature_standard_uncertainty**2


def combine(by_conductivity: Salinity, by_density: Salinity, conditions: Conditions) -> Salinity:
    """One mass fraction from the two, the one of least variance, with its interval.

    While they agree, the result is never less certain than the more certain of the two. If they
    disagree by more than their intervals allow (see `question`), the interval spans both and the
    uncertainty is scaled by how far apart they are: one of them is wrong, and weighing can't show
    which. One held at saturation or the ice line (`bound`) is weighed at that line with its
    uncertainty.

    Raises: NotBrine (out-of-range if one of them has no uncertainty or is no number).
    Source: best linear unbiased combination (JCGM 100, 5.2; Lyons et al., NIM A 270 (1988) 110);
        scaling by the Birge ratio (Phys. Rev. 40 (1932) 207).
    """
    u1, u2 = by_conductivity.standard_uncertainty, by_density.standard_uncertainty
    if not (0.0 < u1 < 1.0 and 0.0 < u2 < 1.0):
        raise NotBrine("out-of-range", "two witnesses are weighed by uncertainties above 0")
    shared = _bounded_covariance(by_conductivity, by_density, conditions)
    spread = u1 * u1 + u2 * u2 - 2.0 * shared
    weight = (u2 * u2 - shared) / spread
    value = weight * by_conductivity.mass_fraction + (1.0 - weight) * by_density.mass_fraction
    standard_uncertainty = sqrt((u1 * u1 * u2 * u2 - shared * shared) / spread)
    parting = abs(by_conductivity.mass_fraction - by_density.mass_fraction) / sqrt(spread)
    reach = COVERAGE * standard_uncertainty
    lowest = max(0.0, min(by_conductivity.interval_95[0], by_density.interval_95[0]))
    highest = max(by_conductivity.interval_95[1], by_density.interval_95[1])
    if parting > COVERAGE:
        return Salinity(value, standard_uncertainty * parting, (lowest, highest))
    interval = (
        min(value, max(lowest, value - reach)),
        max(value, min(highest, value + reach)),
    )
    return Salinity(value, standard_uncertainty, interval)


def widened(both: Salinity, by: float) -> Salinity:
    """A strength as uncertain again `by` (1 or more) as it was: what it was weighed from disagrees.

    Source: scaling by the Birge ratio, as in `combine`.
    """
    low, high = both.interval_95
    middle = both.mass_fraction
    ends = max(0.0, middle - by * (middle - low)), middle + by * (high - middle)
    return Salinity(middle, by * both.standard_uncertainty, ends, both.bound)


def question(
    by_conductivity: Salinity, by_density: Salinity, conditions: Conditions
) -> Question | None:
    """The question that is asked when the two differ by more than their uncertainties explain in 1
    of 20 (or as seldom as `asks_from` says); None while they agree.

    The culprit is the single error under which the two readings are likeliest, errors being normal
    with the typical sizes above. Without `last_agreed` two readings can hardly show which of three
    is wrong: then the typical sizes decide, which is judgement. The sentence says "likelier".
    Raises: ValueError outside the ranges of `temperature_covariance`.
    """
    difference = by_conductivity.mass_fraction - by_density.mass_fraction
    shared = _bounded_covariance(by_conductivity, by_density, conditions)
    variance = (
        by_conductivity.standard_uncertainty**2 + by_density.standard_uncertainty**2 - 2.0 * shared
    )
    spread = sqrt(variance)
    if not isfinite(difference) or abs(difference) <= conditions.asks_from * spread:
        return None
    ranked = _explanations(by_conductivity, by_density, shared, conditions)
    culprit, size = ranked[0]
    return Question(
        difference=difference,
        standard_uncertainty=spread,
        chance=1.0 - erf(abs(difference) / spread / sqrt(2.0)),
        culprit=culprit,
        others=tuple(name for name, _ in ranked[1:]),
        sentence=(
            f"conductivity says {by_conductivity.mass_fraction * 100:.1f} %, density says"
            f" {by_density.mass_fraction * 100:.1f} %, further apart than both allow;"
            f" likelier: {_SENTENCES[culprit].format(size=abs(size), percent=abs(size) * 100)}"
        ),
    )


_SENTENCES: dict[Culprit, str] = {
    "conductivity-low": "the conductivity probe is fouled or in air and reads {percent:.1f} % low",
    "conductivity-high": "the conductivity probe's factor is off: it reads {percent:.1f} % high",
    "thermometer": "the thermometer is {size:.1f} degC off",
    "pressure": "a pressure probe's zero has moved by {size:.0f} Pa",
    "density-meter": "the density meter is {size:.1f} kg/m3 off, by gas or deposit",
    "test": "the hydrometer test is {size:.1f} kg/m3 off",
}


def _explanations(
    by_conductivity: Salinity, by_density: Salinity, shared: float, conditions: Conditions
) -> list[tuple[Culprit, float]]:
    """Each single error that would explain the difference, in its own unit, likelier first."""
    difference = by_conductivity.mass_fraction - by_density.mass_fraction
    found: list[tuple[float, Culprit, float]] = []
    for culprit, typical, per_conductivity, per_density in _causes(by_density, conditions):
        size = difference / (per_conductivity - per_density)
        if (culprit == "conductivity-low" and size > 0.0) or (
            culprit == "conductivity-high" and size < 0.0
        ):
            continue
        likelihood = _log_likelihood(
            (by_conductivity, by_density),
            shared,
            (typical * per_conductivity, typical * per_density),
            conditions.last_agreed,
        )
        found.append((likelihood + log(ODDS[culprit]), culprit, size))
    found.sort(key=lambda explanation: -explanation[0])
    return [(culprit, size) for _, culprit, size in found]


def _causes(
    by_density: Salinity, conditions: Conditions
) -> list[tuple[Culprit, float, float, float]]:
    """Culprit, typical size, and what one unit of it adds to each of the two mass fractions."""
    strength, temperature_c = max(by_density.mass_fraction, 0.001), conditions.temperature_c
    probe = 1.0 / conductivity_curve.slope_in_mass_fraction(strength, temperature_c)
    mass = 1.0 / density_per_mass_fraction(strength, temperature_c)
    causes: list[tuple[Culprit, float, float, float]] = [
        ("conductivity-low", TYPICAL_FOULING, probe, 0.0),
        ("conductivity-high", TYPICAL_CONDUCTIVITY_HIGH, probe, 0.0),
        ("thermometer", TYPICAL_THERMOMETER_K, *_per_kelvin(strength, temperature_c)),
    ]
    if conditions.density_from == "pressure":
        per_pascal = mass / (STANDARD_GRAVITY_M_PER_S2 * conditions.pressure_depth_m)
        causes.append(("pressure", TYPICAL_PRESSURE_ZERO_PA, 0.0, per_pascal))
    elif conditions.density_from == "meter":
        causes.append(("density-meter", TYPICAL_DENSITY_METER_KG_PER_M3, 0.0, mass))
    else:
        causes.append(("test", TYPICAL_TEST_KG_PER_M3, 0.0, mass))
    return causes


def _log_likelihood(
    witnesses: tuple[Salinity, Salinity],
    shared: float,
    error: tuple[float, float],
    last_agreed: float | None,
) -> float:
    """Of the two readings under one more normal error that moves both by `error`."""
    one, two = witnesses
    variance_1 = one.standard_uncertainty**2 + error[0] ** 2
    variance_2 = two.standard_uncertainty**2 + error[1] ** 2
    covariance = shared + error[0] * error[1]
    if last_agreed is None:
        variance = variance_1 + variance_2 - 2.0 * covariance
        difference = one.mass_fraction - two.mass_fraction
        return -0.5 * (log(variance) + difference**2 / variance)
    variance_1 += MAY_HAVE_CHANGED**2
    variance_2 += MAY_HAVE_CHANGED**2
    covariance += MAY_HAVE_CHANGED**2
    determinant = variance_1 * variance_2 - covariance**2
    off_1, off_2 = one.mass_fraction - last_agreed, two.mass_fraction - last_agreed
    square = variance_2 * off_1**2 - 2.0 * covariance * off_1 * off_2 + variance_1 * off_2**2
    return -0.5 * (log(determinant) + square / determinant)


def _per_kelvin(strength: float, temperature_c: float) -> tuple[float, float]:
    """How much each of the two mass fractions moves for a thermometer 1 K high."""
    by_conductivity = -conductivity_curve.slope_in_temperature(
        strength, temperature_c
    ) / conductivity_curve.slope_in_mass_fraction(strength, temperature_c)
    by_density = -density_per_kelvin(strength, temperature_c) / density_per_mass_fraction(
        strength, temperature_c
    )
    return by_conductivity, by_density


def _bounded_covariance(
    by_conductivity: Salinity, by_density: Salinity, conditions: Conditions
) -> float:
    """The covariance, limited to what the two uncertainties allow (they may be clipped at a line),
    and to the smaller of the two variances: beyond that, one would have a weight above 1."""
    u1, u2 = by_conductivity.standard_uncertainty, by_density.standard_uncertainty
    shared = temperature_covariance(max(by_density.mass_fraction, 0.001), conditions)
    shared += conditions.shared
    return min(max(shared, -0.95 * u1 * u2), 0.95 * min(u1, u2) ** 2)
