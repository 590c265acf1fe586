"""Hydrometers: specific gravity on its usual scales, and salometer degrees, at any sample.

A hydrometer floats where the brine it displaces weighs as much as itself. It is marked at one
temperature, and its glass swells with the sample's: density = mark * (water it is marked
against) / (1 + gamma (t - t marked)).
"""

from dataclasses import dataclass
from math import isfinite

from brineward.physics.density import density, extended_mass_fraction, salinity_from_density
from brineward.physics.refusals import NotBrine
from brineward.physics.salinity import Salinity
from brineward.physics.water import water_density

GLASS_EXPANSION_PER_K = 25e-6
"""Cubical expansion of soda-lime hydrometer glass (ISO 649 uses this value; from memory)."""
SIXTY_FAHRENHEIT_C = 140.0 / 9.0
SALOMETER_FULL_MASS_FRACTION = 0.26395
"""Salometer 100: saturated at 60 degF (Salt Institute)."""


@dataclass(frozen=True, slots=True, kw_only=True)
class Scale:
    """A specific gravity scale: marked at one temperature, against water at another."""

    name: str
    marked_c: float
    water_c: float


SCALES = (
    Scale(name="60/60 degF", marked_c=SIXTY_FAHRENHEIT_C, water_c=SIXTY_FAHRENHEIT_C),
    Scale(name="15/15 degC", marked_c=15.0, water_c=15.0),
    Scale(name="15/4 degC", marked_c=15.0, water_c=4.0),
    Scale(name="20/20 degC", marked_c=20.0, water_c=20.0),
    Scale(name="20/4 degC", marked_c=20.0, water_c=4.0),
)
USUAL_SCALE = SCALES[0]


def scale_named(name: str) -> Scale:
    """The scale of this name; the unit may be left out, as in "60/60".

    Raises: ValueError, listing the scales.
    """
    asked = "".join(name.lower().replace("°", "deg").split())
    for scale in SCALES:
        known = scale.name.lower().replace(" ", "")
        if asked in (known, known.replace("deg", ""), known[: known.index("deg")]):
            return scale
    listed = ", ".join(scale.name for scale in SCALES)
    raise ValueError(f"{name!r} is not a hydrometer scale; expected one of {listed}")


def density_from_specific_gravity(
    specific_gravity: float, sample_c: float, scale: Scale = USUAL_SCALE
) -> float:
    """The sample's density at its own temperature, kg/m3, from the mark read there.

    Specific gravity from 0.9 to 1.3, sample from -21.1 to 50 degC.
    Raises: NotBrine (out-of-range).
    Source: buoyancy with the glass's expansion, as in ISO 649.
    """
    if not isfinite(sample_c) or not 0.9 <= specific_gravity <= 1.3:
        raise NotBrine(
            "out-of-range",
            f"a specific gravity of {specific_gravity} is not one of brine;"
            " expected 1.000 to 1.204",
        )
    return specific_gravity * water_density(scale.water_c) / _swollen(sample_c, scale.marked_c)


def specific_gravity(
    mass_fraction: float, sample_c: float | None = None, scale: Scale = USUAL_SCALE
) -> float:
    """The mark that a hydrometer shows in this brine; with no sample temperature, the marked one.

    Valid range and errors as `brineward.physics.density.density`.
    """
    at_c = scale.marked_c if sample_c is None else sample_c
    swollen = _swollen(at_c, scale.marked_c)
    return density(mass_fraction, at_c) * swollen / water_density(scale.water_c)


def salometer_degrees(mass_fraction: float, sample_c: float = SIXTY_FAHRENHEIT_C) -> float:
    """The degrees that a salometer shows: percent of saturation, marked at 60 degF.

    Above 100 where strong brine is colder. Valid range and errors as `density`.
    Source: Salt Institute (100 degrees is 26.395 % at 60 degF).
    """
    shown = density(mass_fraction, sample_c) * _swollen(sample_c, SIXTY_FAHRENHEIT_C)
    marked = extended_mass_fraction(shown, SIXTY_FAHRENHEIT_C)
    return 100.0 * marked / SALOMETER_FULL_MASS_FRACTION


def density_from_salometer(degrees: float, sample_c: float) -> float:
    """The sample's density at its own temperature, kg/m3, from the degrees read there.

    Degrees from 0 to 106 (cold brine reads above 100), sample from -21.1 to 50 degC.
    Raises: NotBrine (out-of-range).
    """
    if not isfinite(sample_c) or not 0.0 <= degrees <= 106.0:
        raise NotBrine(
            "out-of-range", f"{degrees} salometer degrees are not brine; expected 0 to 100"
        )
    marked = density(degrees / 100.0 * SALOMETER_FULL_MASS_FRACTION, SIXTY_FAHRENHEIT_C)
    return marked / _swollen(sample_c, SIXTY_FAHRENHEIT_C)


def salinity_from_specific_gravity(
    mark: float,
    sample_c: float,
    scale: Scale = USUAL_SCALE,
    *,
    mark_standard_uncertainty: float,
    temperature_standard_uncertainty: float,
) -> Salinity:
    """The mass fraction from a specific gravity, with its uncertainty.

    Uncertainties are standard ones: of the mark as read, and of the sample's temperature, K.
    Raises: NotBrine.
    """
    measured = density_from_specific_gravity(mark, sample_c, scale)
    return salinity_from_density(
        measured,
        sample_c,
        density_standard_uncertainty_kg_per_m3=measured * mark_standard_uncertainty / mark,
        temperature_standard_uncertainty=temperature_standard_uncertainty,
    )


def salinity_from_salometer(
    degrees: float,
    sample_c: float,
    *,
    degrees_standard_uncertainty: float,
    temperature_standard_uncertainty: float,
) -> Salinity:
    """The mass fraction from a salometer's degrees, with its uncertainty, as above.

    Raises: NotBrine.
    """
    measured = density_from_salometer(degrees, sample_c)
    per_degree = (density_from_salometer(50.5, sample_c)) - density_from_salometer(49.5, sample_c)
    return salinity_from_density(
        measured,
        sample_c,
        density_standard_uncertainty_kg_per_m3=per_degree * degrees_standard_uncertainty,
        temperature_standard_uncertainty=temperature_standard_uncertainty,
    )


def _swollen(sample_c: float, marked_c: float) -> float:
    return 1.0 + GLASS_EXPANSION_PER_K * (sample_c - marked_c)
