"""Levels from echoes and from pressure, and the density that two of them tell.

Pressures are gauge pressures, against the air above the brine.
"""

from math import isfinite, sqrt
from typing import NamedTuple

from brineward.physics.refusals import NotBrine

STANDARD_GRAVITY_M_PER_S2 = 9.80665


class Measured(NamedTuple):
    """A value worked out from readings, with its standard uncertainty in the same unit."""

    value: float
    standard_uncertainty: float


def speed_of_sound_in_air(air_c: float) -> float:
    """The speed of sound in dry air, m/s: 331.3 sqrt(1 + t/273.15).

    Valid: -60 to 60 degC; damp air is up to 0.4 % faster at 40 degC.
    Raises: ValueError outside that range.
    Source: ideal gas; 331.3 m/s at 0 degC from memory of the CRC Handbook.
    """
    if not -60.0 <= air_c <= 60.0:
        raise ValueError(f"{air_c} degC is not an air temperature at a depot")
    return 331.3 * sqrt(1.0 + air_c / 273.15)


def level_from_echo(
    distance_m: float,
    mounted_m: float,
    *,
    air_c: float,
    assumed_air_c: float,
    distance_standard_uncertainty_m: float = 0.0,
    air_standard_uncertainty_c: float = 0.0,
) -> Measured:
    """The level from an ultrasonic distance taken at another speed of sound than the air's, m.

    The sensor hangs `mounted_m` above the floor and reckons with sound at `assumed_air_c`. One
    that measures its own air, and radar, which does not depend on it, have `assumed_air_c` equal
    to `air_c`.

    Valid: temperatures as `speed_of_sound_in_air`.
    Raises: ValueError outside that range.
    """
    ratio = speed_of_sound_in_air(air_c) / speed_of_sound_in_air(assumed_air_c)
    true_m = distance_m * ratio
    from_air = true_m * air_standard_uncertainty_c / (2.0 * (air_c + 273.15))
    spread = sqrt((distance_standard_uncertainty_m * ratio) ** 2 + from_air**2)
    return Measured(mounted_m - true_m, spread)


def level_from_pressure(
    pressure_pa: float,
    density_kg_per_m3: float,
    mounted_m: float = 0.0,
    *,
    pressure_standard_uncertainty_pa: float = 0.0,
    density_standard_uncertainty_kg_per_m3: float = 0.0,
) -> Measured:
    """The level above the floor from the pressure at a probe mounted so high, m.

    Raises: ValueError for a density that is not above 0.
    Source: hydrostatics; standard gravity (its local value differs by up to 0.3 %).
    """
    if not density_kg_per_m3 > 0.0:
        raise ValueError(f"a density of {density_kg_per_m3} kg/m3 carries no pressure")
    weight = density_kg_per_m3 * STANDARD_GRAVITY_M_PER_S2
    head_m = pressure_pa / weight
    spread = sqrt(
        (pressure_standard_uncertainty_pa / weight) ** 2
        + (head_m * density_standard_uncertainty_kg_per_m3 / density_kg_per_m3) ** 2
    )
    return Measured(mounted_m + head_m, spread)


def density_from_two_pressures(
    lower_pa: float,
    upper_pa: float,
    spacing_m: float,
    *,
    pressure_standard_uncertainty_pa: float,
    spacing_standard_uncertainty_m: float = 0.0,
    gravity_m_per_s2: float = STANDARD_GRAVITY_M_PER_S2,
) -> Measured:
    """The brine's density between two pressure probes, one `spacing_m` below the other, kg/m3.

    `pressure_standard_uncertainty_pa` is each probe's own; both must be under the surface.
    Raises: NotBrine (probe-dry where the upper one shows no brine above it; out-of-range).
    """
    if not (isfinite(lower_pa) and spacing_m > 0.0 and gravity_m_per_s2 > 0.0):
        raise NotBrine("out-of-range", "two pressures need numbers and a spacing above 0")
    if not upper_pa > 2.0 * pressure_standard_uncertainty_pa:
        raise NotBrine("probe-dry", "the upper pressure probe shows no brine above it")
    return _density(
        lower_pa - upper_pa,
        spacing_m,
        sqrt(2.0) * pressure_standard_uncertainty_pa,
        spacing_standard_uncertainty_m,
        gravity_m_per_s2,
    )


def density_from_pressure_and_level(
    pressure_pa: float,
    level: Measured,
    mounted_m: float,
    *,
    pressure_standard_uncertainty_pa: float,
    gravity_m_per_s2: float = STANDARD_GRAVITY_M_PER_S2,
) -> Measured:
    """The brine's mean density above a pressure probe, from an independent level, kg/m3.

    Raises: NotBrine (probe-dry where the level is not above the probe; out-of-range).
    """
    depth_m = level.value - mounted_m
    if not isfinite(pressure_pa) or not gravity_m_per_s2 > 0.0:
        raise NotBrine("out-of-range", f"a pressure of {pressure_pa} Pa is no reading")
    if not depth_m > 2.0 * level.standard_uncertainty or not depth_m > 0.0:
        raise NotBrine("probe-dry", "the level is not above the pressure probe")
    return _density(
        pressure_pa,
        depth_m,
        pressure_standard_uncertainty_pa,
        level.standard_uncertainty,
        gravity_m_per_s2,
    )


def _density(
    pressure_pa: float, depth_m: float, pressure_off_pa: float, depth_off_m: float, gravity: float
) -> Measured:
    value = pressure_pa / (gravity * depth_m)
    spread = sqrt(
        (pressure_off_pa / (gravity * depth_m)) ** 2 + (value * depth_off_m / depth_m) ** 2
    )
    return Measured(value, spread)
