"""Salt into water, and what an addition does to a brine: mass balances. Prints nothing."""

from dataclasses import dataclass
from typing import Literal

from brineward.physics.density import density
from brineward.physics.mixing import contents
from brineward.physics.salinity import COVERAGE, Salinity
from brineward.physics.saturation import saturation_mass_fraction


class TooMuchSalt(ValueError):
    """More salt than dissolves; `most` is what does, as a mass fraction."""

    def __init__(self, most: float) -> None:
        super().__init__(f"no more than {most * 100:.1f} % dissolves")
        self.most = most


@dataclass(frozen=True, slots=True, kw_only=True)
class Mixture:
    """Dry salt and fresh water, and the brine that they make."""

    asks: Literal["salt", "water", "strength"]
    """Which of the three was worked out from the other two."""
    salt_kg: float
    water_kg: float
    water_m3: float
    mass_fraction: float
    brine_m3: float
    temperature_c: float


@dataclass(frozen=True, slots=True, kw_only=True)
class Afterwards:
    """A brine after something was added to it."""

    found: Salinity
    volume_m3: float
    salt_kg: float
    """The dry salt added."""
    water_m3: float
    """The fresh water added."""


def mixture(
    *,
    temperature_c: float,
    water_m3: float | None = None,
    salt_kg: float | None = None,
    mass_fraction: float | None = None,
) -> Mixture:
    """The third of water, salt and strength from the other two, all at one temperature.

    Salt: m w / (1 - w), m the water's mass. Water and salt above 0, strength above 0 and up to
    saturation, temperature from 0 to 50 degC (fresh water is liquid).
    Raises: TooMuchSalt; ValueError outside the physics' range.
    """
    most = saturation_mass_fraction(temperature_c)
    water_density = density(0.0, temperature_c)
    asks: Literal["salt", "water", "strength"]
    if mass_fraction is None:
        if water_m3 is None or salt_kg is None:
            raise ValueError("two of water, salt and strength are needed")
        asks, water_kg = "strength", water_m3 * water_density
        mass_fraction = salt_kg / (salt_kg + water_kg)
    elif water_m3 is not None:
        asks, water_kg = "salt", water_m3 * water_density
        salt_kg = water_kg * mass_fraction / (1.0 - mass_fraction)
    else:
        if salt_kg is None:
            raise ValueError("two of water, salt and strength are needed")
        asks, water_kg = "water", salt_kg * (1.0 - mass_fraction) / mass_fraction
    if mass_fraction > most:
        raise TooMuchSalt(most)
    return Mixture(
        asks=asks,
        salt_kg=salt_kg,
        water_kg=water_kg,
        water_m3=water_kg / water_density,
        mass_fraction=mass_fraction,
        brine_m3=(salt_kg + water_kg) / density(mass_fraction, temperature_c),
        temperature_c=temperature_c,
    )


def afterwards(
    volume_m3: float,
    before: Salinity,
    temperature_c: float,
    *,
    salt_kg: float = 0.0,
    water_m3: float = 0.0,
    water_density_kg_per_m3: float,
) -> Afterwards:
    """The strength of a brine after dry salt or fresh water was added and blended in.

    The uncertainty of the strength before is carried on; that of the amounts is not known.
    Raises: TooMuchSalt; ValueError outside the physics' range.
    """
    held = contents(volume_m3, before.mass_fraction, temperature_c)
    water_kg = water_m3 * water_density_kg_per_m3
    whole_kg = held.brine_kg + salt_kg + water_kg
    strength = (held.salt_kg + salt_kg) / whole_kg
    most = saturation_mass_fraction(temperature_c)
    if strength > most:
        raise TooMuchSalt(most)
    off = before.standard_uncertainty * held.brine_kg / whole_kg
    reach = COVERAGE * off
    return Afterwards(
        found=Salinity(strength, off, (max(0.0, strength - reach), min(most, strength + reach))),
        volume_m3=whole_kg / density(strength, temperature_c),
        salt_kg=salt_kg,
        water_m3=water_m3,
    )
