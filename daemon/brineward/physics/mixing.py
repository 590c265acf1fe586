"""What a volume of brine holds, and what brings it to another strength."""

from dataclasses import dataclass

from brineward.physics.density import density, density_per_mass_fraction
from brineward.physics.saturation import (
    SATURATION_EXPANDED_UNCERTAINTY,
    saturation_mass_fraction,
)


@dataclass(frozen=True, slots=True, kw_only=True)
class Contents:
    """A volume of brine at one temperature, taken apart; kg."""

    brine_kg: float
    salt_kg: float
    water_kg: float


@dataclass(frozen=True, slots=True, kw_only=True)
class Correction:
    """What to add so that a volume of brine comes to another strength; one of the two is 0."""

    salt_kg: float
    """Dry sodium chloride."""
    salt_standard_uncertainty_kg: float
    water_kg: float
    water_standard_uncertainty_kg: float
    volume_m3: float
    """The volume afterwards, at the same temperature."""


def contents(volume_m3: float, mass_fraction: float, temperature_c: float) -> Contents:
    """The brine, salt and water in a volume. Volume 0 or more; the rest as `density`.

    Raises: ValueError outside that range.
    """
    if not 0.0 <= volume_m3 < 1e9:
        raise ValueError(f"a volume of {volume_m3} m3 is not one of a tank")
    brine_kg = volume_m3 * density(mass_fraction, temperature_c)
    salt_kg = brine_kg * mass_fraction
    return Contents(brine_kg=brine_kg, salt_kg=salt_kg, water_kg=brine_kg - salt_kg)


def correction(
    volume_m3: float,
    mass_fraction: float,
    temperature_c: float,
    *,
    target: float,
    mass_fraction_standard_uncertainty: float = 0.0,
) -> Correction:
    """The dry salt or the water that brings a volume of brine to the target.

    Salt: m (target - w) / (1 - target); water: m (w - target) / target, m the brine's mass. All
    of it is taken to dissolve and to blend; wet or impure salt needs more.

    Valid: target above 0 up to saturation at this temperature and its expanded uncertainty; the
        rest as `contents`.
    Raises: ValueError outside that range.
    """
    most = saturation_mass_fraction(temperature_c)
    if not 0.0 < target <= most + SATURATION_EXPANDED_UNCERTAINTY:
        raise ValueError(
            f"no more than {most * 100:.1f} % of salt dissolves at {temperature_c:.1f} degC, and"
            f" less than nothing never does: a target of {target * 100:.1f} % can't be reached"
        )
    held = contents(volume_m3, mass_fraction, temperature_c)
    salt_kg = max(0.0, held.brine_kg * (target - mass_fraction) / (1.0 - target))
    water_kg = max(0.0, held.brine_kg * (mass_fraction - target) / target)
    relative_slope = density_per_mass_fraction(mass_fraction, temperature_c) / density(
        mass_fraction, temperature_c
    )
    off = mass_fraction - target
    # Heavier brine holds more to be corrected: the second term of each slope.
    slope = abs(held.brine_kg * (1.0 + off * relative_slope)) * mass_fraction_standard_uncertainty
    return Correction(
        salt_kg=salt_kg,
        salt_standard_uncertainty_kg=slope / (1.0 - target) if salt_kg else 0.0,
        water_kg=water_kg,
        water_standard_uncertainty_kg=slope / target if water_kg else 0.0,
        volume_m3=(held.brine_kg + salt_kg + water_kg) / density(target, temperature_c),
    )
