"""Where the first solid appears on cooling: ice below 23.3 % by mass, crystals above.

Ice: brine is in balance with ice where both give water the same activity. The ice's comes from
the heat of fusion and the difference of heat capacity; the brine's from an osmotic coefficient of
Pitzer's form, its three coefficients fitted along the freezing line by `brineward.fitting.phases`.
"""

import math

from brineward.physics.phase_coefficients import EUTECTIC_C, EUTECTIC_MASS_FRACTION, OSMOTIC
from brineward.physics.roots import rising_root
from brineward.physics.salt import (
    GAS_CONSTANT_J_PER_MOL_K,
    MOLAR_MASS_WATER_KG_PER_MOL,
    ZERO_CELSIUS_K,
    molality_from_mass_fraction,
)
from brineward.physics.saturation import Solid, crystals_point_c, solid_at_saturation

HEAT_OF_FUSION_J_PER_MOL = 6009.5
"""Of ice at 0 degC (333.55 J/g; from memory of the CRC Handbook)."""
FUSION_HEAT_CAPACITY_J_PER_MOL_K = 38.0
"""Water's less ice's at 0 degC (from memory; the fit takes up what it misses)."""
DEBYE_HUCKEL_OSMOTIC = 0.377
"""Pitzer's A-phi for water at 0 degC, (kg/mol)^0.5 (from memory; 0.391 at 25 degC)."""

FREEZING_STANDARD_UNCERTAINTY_C = 0.05
"""Of the ice line: the CRC Handbook and Lange's differ by up to 0.08 degC."""
CRYSTALS_STANDARD_UNCERTAINTY_C = 0.2
"""Of the hydrohalite line: 0.03 % by mass of it is 0.2 degC."""


def freezing_point_c(mass_fraction: float) -> float:
    """The temperature at which the first solid appears on cooling, in degC.

    Up to the eutectic (23.31 %) that solid is ice, beyond it crystals: hydrohalite up to 26.3 %,
    halite from there on (`first_solid` says which).

    Valid: mass fraction from 0 to saturation at 50 degC (26.8 %).
    Uncertainty: 0.05 degC for ice, 0.2 degC for hydrohalite (of which 0.03 % by mass is 0.2 degC);
    halite: 0.03 % by mass.
    Raises: ValueError outside that range.
    Source: fitted to the CRC Handbook, Lange's Handbook (table 5.13) and the Salt Institute.
    """
    if not mass_fraction >= 0.0:
        raise ValueError(f"a mass fraction is 0 or more, not {mass_fraction}")
    if mass_fraction > EUTECTIC_MASS_FRACTION:
        return crystals_point_c(mass_fraction)
    return ice_point_c(mass_fraction)


def first_solid(mass_fraction: float) -> Solid:
    """What comes out first on cooling. Valid range and errors as `freezing_point_c`."""
    if mass_fraction <= EUTECTIC_MASS_FRACTION:
        return Solid.ICE
    return solid_at_saturation(crystals_point_c(mass_fraction))


def ice_point_c(mass_fraction: float) -> float:
    """The temperature at which ice comes out, in degC; mass fraction from 0 to the eutectic."""
    brine = _log_activity_in_brine(mass_fraction)
    return rising_root(
        lambda temperature_c: _log_activity_over_ice(temperature_c) - brine, EUTECTIC_C - 2.0, 0.0
    )


def ice_line_mass_fraction(temperature_c: float) -> float:
    """The strength that brine in balance with ice has, as a mass fraction; 0 from 0 degC up.

    Weaker brine at this temperature is slush: its liquid has this strength.

    Valid: from the eutectic (-21.1 degC) up.
    Raises: ValueError below it, where no liquid is left.
    Source: the inverse of `ice_point_c`.
    """
    if not temperature_c >= EUTECTIC_C:
        raise ValueError(
            f"brine has no liquid below {EUTECTIC_C:.1f} degC; {temperature_c} degC was given"
        )
    if temperature_c >= 0.0:
        return 0.0
    ice = _log_activity_over_ice(temperature_c)
    return rising_root(
        lambda mass_fraction: ice - _log_activity_in_brine(mass_fraction),
        0.0,
        EUTECTIC_MASS_FRACTION,
    )


def _log_activity_over_ice(temperature_c: float) -> float:
    """ln of the activity of water in balance with ice (integrated from the heat of fusion)."""
    kelvin = temperature_c + ZERO_CELSIUS_K
    at_zero = HEAT_OF_FUSION_J_PER_MOL - FUSION_HEAT_CAPACITY_J_PER_MOL_K * ZERO_CELSIUS_K
    return (
        at_zero * (1.0 / ZERO_CELSIUS_K - 1.0 / kelvin)
        + FUSION_HEAT_CAPACITY_J_PER_MOL_K * math.log(kelvin / ZERO_CELSIUS_K)
    ) / GAS_CONSTANT_J_PER_MOL_K


def _log_activity_in_brine(mass_fraction: float) -> float:
    """ln of the activity of water in brine at its freezing point."""
    molality = molality_from_mass_fraction(mass_fraction)
    coefficient = osmotic_coefficient(molality, OSMOTIC)
    return -2.0 * molality * MOLAR_MASS_WATER_KG_PER_MOL * coefficient


def osmotic_coefficient(molality: float, coefficients: tuple[float, float, float]) -> float:
    """Pitzer's osmotic coefficient of a 1:1 salt, with beta0, beta1 and C-phi; no unit.

    Molality of 0 or more, in mol/kg of water; the source has sodium chloride up to 6 (from memory).
    Source: Pitzer & Mayorga, J. Phys. Chem. 77 (1973) 2300.
    """
    beta0, beta1, c_phi = coefficients
    root = math.sqrt(molality)
    return (
        1.0
        - DEBYE_HUCKEL_OSMOTIC * root / (1.0 + 1.2 * root)
        + molality * (beta0 + beta1 * math.exp(-2.0 * root))
        + molality**2 * c_phi
    )
