"""Density of sodium chloride brine, and the strength at a given density.

Specific volume is water's own times exp(-w/0.08) and a smooth surface for the rest: salt breaks
the structure that gives cold water its density maximum, so strong brine expands evenly with
temperature where water does not. That is why the surface, fitted at 0 to 40 degC by
`brineward.fitting.density`, can be carried on to the freezing line.
"""

from math import exp, isfinite, sqrt
from typing import Literal

from brineward.physics.density_coefficients import ANOMALY_MASS_FRACTION, SURFACE
from brineward.physics.freezing import ice_line_mass_fraction
from brineward.physics.phase_coefficients import EUTECTIC_C
from brineward.physics.refusals import NotBrine
from brineward.physics.salinity import COVERAGE, Salinity, warmest_possible_c
from brineward.physics.saturation import (
    SATURATION_EXPANDED_UNCERTAINTY,
    saturation_mass_fraction,
)
from brineward.physics.water import water_density

COLDEST_C = EUTECTIC_C
WARMEST_C = 50.0
STRONGEST = 0.30
"""Past saturation, so that a reading a little above it can still be judged."""


def density(mass_fraction: float, temperature_c: float) -> float:
    """The density of brine at one atmosphere, kg/m3.

    Valid: mass fraction 0 to 0.30 (fitted up to saturation), -21.1 to 50 degC (fitted 0 to 40).
    Uncertainty: see `density_standard_uncertainty`.
    Raises: ValueError outside that range.
    Source: fitted to the CRC Handbook, Perry's and Poradnik fizykochemiczny.
    """
    return 1000.0 / _specific_volume(mass_fraction, temperature_c)


def density_standard_uncertainty(mass_fraction: float, temperature_c: float) -> float:
    """How well the curve itself is known, kg/m3: 0.010 % from 10 degC up, 0.015 % at 0 degC.

    Below 0 degC nothing was fitted: Melinder's tables (CoolProp's INCOMP::MNA) and the model of
    Laliberte & Cooper lie within 0.03 and 0.13 % there; 0.06 % is allowed at -20 degC.
    """
    relative = 1.0e-4
    if temperature_c < 10.0:
        relative += 0.5e-5 * min(10.0, 10.0 - temperature_c)
    if temperature_c < 0.0:
        relative += 2.25e-5 * -temperature_c
    return relative * density(mass_fraction, temperature_c)


def density_per_mass_fraction(mass_fraction: float, temperature_c: float) -> float:
    """The slope of density over mass fraction, kg/m3; about 810 near 23 %. Range as `density`."""
    return _slope(mass_fraction, temperature_c, 1e-5, 0.0)


def density_per_kelvin(mass_fraction: float, temperature_c: float) -> float:
    """The slope of density over temperature, kg/(m3 K): -0.5 near 23 %. Range as `density`."""
    return _slope(mass_fraction, temperature_c, 0.0, 1e-3)


def salinity_from_density(
    density_kg_per_m3: float,
    temperature_c: float,
    *,
    density_standard_uncertainty_kg_per_m3: float,
    temperature_standard_uncertainty: float,
    impurity_standard_uncertainty: float = 0.0,
) -> Salinity:
    """The mass fraction from a density, with its uncertainty.

    The uncertainties are standard ones: of the density measured, kg/m3; of the thermometer, K;
    of other salts as a mass fraction. A reading beyond saturation or the ice line by no more than
    its uncertainty is held at that line, and says so in `bound`; the interval ends where the line
    may be at the most, as in `salinity`.

    Raises: NotBrine (not-brine, above-saturation, slush, out-of-range).
    """
    inputs = (
        density_standard_uncertainty_kg_per_m3,
        temperature_standard_uncertainty,
        impurity_standard_uncertainty,
    )
    if not all(0.0 <= value < 1e6 for value in inputs):
        raise NotBrine("out-of-range", "an uncertainty is no sane number")
    found = extended_mass_fraction(density_kg_per_m3, temperature_c)
    least, most = ice_line_mass_fraction(temperature_c), saturation_mass_fraction(temperature_c)
    near = min(max(found, least), most)
    model = density_standard_uncertainty(near, temperature_c)
    thermal = density_per_kelvin(near, temperature_c) * temperature_standard_uncertainty
    off = sqrt(density_standard_uncertainty_kg_per_m3**2 + model**2 + thermal**2)
    spread = sqrt(
        (off / density_per_mass_fraction(near, temperature_c)) ** 2
        + impurity_standard_uncertainty**2
    )
    reach = COVERAGE * spread
    warmest_c = min(warmest_possible_c(temperature_c, temperature_standard_uncertainty), WARMEST_C)
    lowest = ice_line_mass_fraction(warmest_c)
    highest = saturation_mass_fraction(warmest_c) + SATURATION_EXPANDED_UNCERTAINTY
    if found + reach < 0.0:
        raise NotBrine("not-brine", _lighter(density_kg_per_m3, temperature_c))
    if found + reach < lowest:
        raise NotBrine(
            "slush",
            f"{density_kg_per_m3:.1f} kg/m3 at {temperature_c:.1f} degC is weaker than brine that"
            " is liquid there: slush, or a wrong temperature",
        )
    if found - reach > highest:
        raise NotBrine("above-saturation", _heavier(density_kg_per_m3, temperature_c))
    bound: Literal["", "saturation", "ice"] = ""
    if found > most:
        bound = "saturation"
    elif found < least and least > 0.0:
        bound = "ice"
    # A reading beyond a line, but not beyond where the line may be, has both in its interval.
    interval = (
        min(near, max(found - reach, lowest)),
        max(near, min(found + reach, highest)),
    )
    return Salinity(near, spread, interval, bound)


def _specific_volume(mass_fraction: float, temperature_c: float) -> float:
    """In L/kg."""
    if not 0.0 <= mass_fraction <= STRONGEST:
        raise ValueError(f"a mass fraction of {mass_fraction} is outside 0 to {STRONGEST}")
    if not COLDEST_C <= temperature_c <= WARMEST_C:
        raise ValueError(
            f"brine's density is known from {COLDEST_C:.1f} to {WARMEST_C:.0f} degC, not at"
            f" {temperature_c} degC"
        )
    water = exp(-mass_fraction / ANOMALY_MASS_FRACTION)
    t = temperature_c / 100.0
    level, first, second = (a + t * (b + t * c) for a, b, c in SURFACE)
    rest = level * (1.0 - water) + mass_fraction * (first + mass_fraction * second)
    return water * 1000.0 / water_density(temperature_c) + rest


def _slope(mass_fraction: float, temperature_c: float, step: float, step_c: float) -> float:
    """By difference, one-sided at an end of the range."""
    low = (max(mass_fraction - step, 0.0), max(temperature_c - step_c, COLDEST_C))
    high = (min(mass_fraction + step, STRONGEST), min(temperature_c + step_c, WARMEST_C))
    run = (high[0] - low[0]) + (high[1] - low[1])
    return (density(*high) - density(*low)) / run


def extended_mass_fraction(density_kg_per_m3: float, temperature_c: float) -> float:
    """The inverse of `density` carried straight on below 0 and past saturation, for scales.

    Below 0 and past saturation it is no strength, but shows how far beyond a reading lies.
    Raises: NotBrine (out-of-range).
    """
    if not COLDEST_C <= temperature_c <= WARMEST_C:
        raise NotBrine(
            "out-of-range",
            f"{temperature_c} degC is outside the {COLDEST_C:.1f} to {WARMEST_C:.0f} degC in which"
            " brine's density is known",
        )
    if not isfinite(density_kg_per_m3) or not 500.0 < density_kg_per_m3 < 2000.0:
        raise NotBrine("out-of-range", f"a density of {density_kg_per_m3} kg/m3 is no reading")
    guess = (density_kg_per_m3 - 1000.0) / 780.0
    for _ in range(20):
        inside = min(max(guess, 0.0), STRONGEST)
        slope = density_per_mass_fraction(inside, temperature_c)
        there = density(inside, temperature_c) + slope * (guess - inside)
        step = (density_kg_per_m3 - there) / slope
        guess += step
        if abs(step) < 1e-13:
            break
    return guess


def _lighter(density_kg_per_m3: float, temperature_c: float) -> str:
    return (
        f"{density_kg_per_m3:.1f} kg/m3 at {temperature_c:.1f} degC is lighter than water: air in"
        " it, another liquid, or a wrong reading"
    )


def _heavier(density_kg_per_m3: float, temperature_c: float) -> str:
    return (
        f"{density_kg_per_m3:.1f} kg/m3 is more than saturated brine has at {temperature_c:.1f}"
        " degC: solids in it, another salt, or a wrong reading"
    )
