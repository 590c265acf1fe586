"""How far brine is from freezing and from dropping crystals at a temperature to come."""

from dataclasses import dataclass

from brineward.physics.freezing import first_solid, freezing_point_c, ice_point_c
from brineward.physics.phase_coefficients import EUTECTIC_MASS_FRACTION
from brineward.physics.saturation import Solid


@dataclass(frozen=True, slots=True, kw_only=True)
class Margin:
    """What comes out first on cooling, where, and how far off that is."""

    solid: Solid
    at_c: float
    """The temperature at which it comes out."""
    at_weak_c: float
    """The same for the low end of the strength's interval."""
    at_strong_c: float
    """The same for the high end."""
    margin_k: float
    """The coldest temperature less the warmest of the three; below 0 it is too cold."""


def ice_in_weakest_c(low_mass_fraction: float) -> float:
    """Where ice first comes out of brine that is no weaker than this, in degC.

    From the eutectic up it is the eutectic's own temperature: what comes out before that is salt.

    Valid: any mass fraction; below 0 it is taken as water.
    Uncertainty and source: as `freezing_point_c`.
    """
    return ice_point_c(min(max(low_mass_fraction, 0.0), EUTECTIC_MASS_FRACTION))


def margin_to_solid(
    mass_fraction: float, interval_95: tuple[float, float], coldest_c: float
) -> Margin:
    """How far the coldest temperature lies above the first ice or crystals, K.

    The ends of the interval count as much as its middle: weak brine freezes, strong brine drops
    crystals, so near 23.3 % both ends may be the nearer danger.

    Valid: mass fractions as `freezing_point_c`.
    Raises: ValueError outside that range.
    """
    weak, middle, strong = (
        freezing_point_c(strength) for strength in (interval_95[0], mass_fraction, interval_95[1])
    )
    return Margin(
        solid=first_solid(mass_fraction),
        at_c=middle,
        at_weak_c=weak,
        at_strong_c=strong,
        margin_k=coldest_c - max(weak, middle, strong),
    )
