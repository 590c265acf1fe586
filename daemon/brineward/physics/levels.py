"""The density of brine from two pressures at known heights.

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


def density_from_two_pressures(
    lower_pa: float,
    upper_pa: float,
    spacing_m: float,
    *,
    pressure_standard_uncertainty_pa: float,
    spacing_standard_uncertainty_m: float = 0.0,
) -> Measured:
    """The brine's density between two pressure probes, one `spacing_m` below the other, kg/m3.

    `pressure_standard_uncertainty_pa` is each probe's own; both must be under the surface.
    Raises: NotBrine (probe-dry where the upper one shows no brine above it; out-of-range).
    Source: hydrostatics; standard gravity (its local value differs by up to 0.3 %).
    """
    if not (isfinite(lower_pa) and spacing_m > 0.0):
        raise NotBrine("out-of-range", "two pressures need numbers and a spacing above 0")
    if not upper_pa > 2.0 * pressure_standard_uncertainty_pa:
        raise NotBrine("probe-dry", "the upper pressure probe shows no brine above it")
    per_density = STANDARD_GRAVITY_M_PER_S2 * spacing_m
    value = (lower_pa - upper_pa) / per_density
    spread = sqrt(
        (sqrt(2.0) * pressure_standard_uncertainty_pa / per_density) ** 2
        + (value * spacing_standard_uncertainty_m / spacing_m) ** 2
    )
    return Measured(value, spread)
