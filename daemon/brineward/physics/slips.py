"""What may have gone wrong in a hydrometer test: the likely slip of the hand, named.

Each slip is recognised by comparing the test with the tank: its temperature, and saturated brine,
but not with what the probe shows, which depends on the tests that are known. How far the strength
would move if it was that slip is the uncertainty with which the test is accepted until somebody
confirms it. Another scale than the one named moves it by a quarter of a percent by mass at the
most, which is within what a hydrometer and a probe may differ by: so that slip can't be recognised.
"""

from typing import Final, Literal, NamedTuple

from brineward.physics.density import salinity_from_density
from brineward.physics.hydrometer import (
    SCALES,
    density_from_salometer,
    density_from_specific_gravity,
    scale_named,
)
from brineward.physics.liquid_lines import most_liquid
from brineward.physics.phase_coefficients import EUTECTIC_C
from brineward.physics.refusals import NotBrine
from brineward.physics.saturation import SATURATION_EXPANDED_UNCERTAINTY

SAMPLE_FAR_K = 5.0
"""A sample read at once has not moved further from the tank's temperature (common practice, no
source); one degree changes the result by 0.05 % by mass."""
_SAME_K = 3.0

MarkKind = Literal["", "specific_gravity", "salometer", "percent"]
SlipKind = Literal["fahrenheit", "celsius", "sample", "saturation"]


class Mark(NamedTuple):
    """A test as it was read."""

    kind: MarkKind
    value: float
    """Specific gravity, salometer degrees, or percent by mass."""
    sample_c: float | None
    """None for a percentage."""
    scale: str = ""


class Told(NamedTuple):
    """A strength and its standard uncertainty, mass fractions."""

    mass_fraction: float
    standard_uncertainty: float


class Slip(NamedTuple):
    """A slip that would explain the test."""

    kind: SlipKind
    off: float
    """How far the strength would move without the slip, a mass fraction above 0."""
    number: float = 0.0
    """As it was typed, for a temperature in the other unit."""


_LEAST_OFF: Final = 0.0005
"""A smaller difference is not asked about: a third of a hydrometer's own uncertainty."""


def likely_slip(mark: Mark, shown: Told, tank_c: float) -> Slip | None:
    """The likely slip in a test, or None.

    `shown` is the strength that the test shows as entered, `tank_c` the tank's temperature, -25 to
    40 degC.
    """
    return _wrong_temperature(mark, shown, tank_c) or _over_saturation(mark, shown, tank_c)


def _wrong_temperature(mark: Mark, shown: Told, tank_c: float) -> Slip | None:
    if mark.sample_c is None or abs(mark.sample_c - tank_c) <= SAMPLE_FAR_K:
        return None
    as_fahrenheit = (mark.sample_c - 32.0) / 1.8
    as_celsius = mark.sample_c * 1.8 + 32.0
    kind: SlipKind = "sample"
    instead, number = tank_c, 0.0
    if abs(as_fahrenheit - tank_c) <= _SAME_K:
        kind, instead, number = "fahrenheit", as_fahrenheit, mark.sample_c
    elif abs(as_celsius - tank_c) <= _SAME_K:
        kind, instead, number = "celsius", as_celsius, as_celsius
    other = _strength(mark._replace(sample_c=instead))
    if other is None or abs(other - shown.mass_fraction) < _LEAST_OFF:
        return None
    return Slip(kind, abs(other - shown.mass_fraction), number)


def _over_saturation(mark: Mark, shown: Told, tank_c: float) -> Slip | None:
    """Salt water does not hold more: the tank's, or the sample's where that is warmer."""
    warmest = max(tank_c, EUTECTIC_C, tank_c if mark.sample_c is None else mark.sample_c)
    most = most_liquid(min(warmest, 40.0)) + SATURATION_EXPANDED_UNCERTAINTY
    over = shown.mass_fraction - most
    return Slip("saturation", over) if over > 2.0 * shown.standard_uncertainty else None


def _strength(mark: Mark) -> float | None:
    """What the test would show; None where that is no brine."""
    if mark.sample_c is None:
        return None
    try:
        if mark.kind == "salometer":
            density = density_from_salometer(mark.value, mark.sample_c)
        elif mark.kind == "specific_gravity":
            scale = scale_named(mark.scale) if mark.scale else SCALES[0]
            density = density_from_specific_gravity(mark.value, mark.sample_c, scale)
        else:
            return None
        return salinity_from_density(
            density,
            mark.sample_c,
            density_standard_uncertainty_kg_per_m3=1.0,
            temperature_standard_uncertainty=0.5,
        ).mass_fraction
    except NotBrine:
        return None
