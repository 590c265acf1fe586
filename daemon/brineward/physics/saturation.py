"""How much salt stays dissolved: the hydrohalite line in the cold and the halite line above it.

Each line is ln(molality) = a + b (298.15/T - 1) + c ln(T/298.15), the integrated van 't Hoff
equation with a constant heat capacity, its coefficients fitted to the published values by
`brineward.fitting.phases`. They meet at 0.1 degC, where hydrohalite (NaCl.2H2O) turns into halite
(Salt Institute).
"""

import math
from enum import StrEnum

from brineward.physics.phase_coefficients import EUTECTIC_C, HALITE, HYDROHALITE, TRANSITION_C
from brineward.physics.roots import rising_root
from brineward.physics.salt import ZERO_CELSIUS_K, mass_fraction_from_molality

LOWEST_C = EUTECTIC_C
HIGHEST_C = 50.0
"""The published values end at 40 degC; ten degrees beyond are allowed to the form."""

SATURATION_STANDARD_UNCERTAINTY = 0.0003
"""Of a saturated mass fraction: so far, root mean square, do the 27 published values lie from the
fitted lines; the furthest by 0.00053. The series differ from one another as much as that: nothing
says which is right. A test holds both numbers."""
SATURATION_EXPANDED_UNCERTAINTY = 2.0 * SATURATION_STANDARD_UNCERTAINTY
"""With coverage factor 2 (JCGM 100, 6.3.3): no published value lies beyond it."""


class Solid(StrEnum):
    """What comes out of the brine first."""

    ICE = "ice"
    HYDROHALITE = "hydrohalite"
    HALITE = "halite"


def saturation_mass_fraction(temperature_c: float) -> float:
    """The most salt that stays dissolved, as a mass fraction.

    Valid: from the eutectic (-21.1 degC) to 50 degC.
    Uncertainty: standard 0.03 % by mass, expanded 0.06 %: the scatter of the published values,
    which an interval at saturation must reach past (`SATURATION_EXPANDED_UNCERTAINTY`).
    Raises: ValueError outside that range.
    Source: fitted to Salt Institute, CRC Handbook and Pabalan & Pitzer 1987.
    """
    if not LOWEST_C <= temperature_c <= HIGHEST_C:
        raise ValueError(
            f"saturation is known from {LOWEST_C:.1f} to {HIGHEST_C:.0f} degC, not at"
            f" {temperature_c} degC"
        )
    a, b, c = HYDROHALITE if temperature_c < TRANSITION_C else HALITE
    ratio = (temperature_c + ZERO_CELSIUS_K) / 298.15
    return mass_fraction_from_molality(math.exp(a + b * (1.0 / ratio - 1.0) + c * math.log(ratio)))


def solid_at_saturation(temperature_c: float) -> Solid:
    """What comes out of saturated brine: hydrohalite below 0.1 degC, halite above.

    Source: Salt Institute (transition at 26.31 % and 0.1 degC).
    """
    return Solid.HYDROHALITE if temperature_c < TRANSITION_C else Solid.HALITE


def crystals_point_c(mass_fraction: float) -> float:
    """The temperature at which crystals first come out on cooling, in degC.

    Valid: from the eutectic (23.31 %) to saturation at 50 degC.
    Raises: ValueError outside that range.
    Source: the inverse of `saturation_mass_fraction`.
    """
    lowest, highest = saturation_mass_fraction(LOWEST_C), saturation_mass_fraction(HIGHEST_C)
    if not lowest <= mass_fraction <= highest:
        raise ValueError(
            f"crystals come out first of brine of {lowest * 100:.2f} % to {highest * 100:.2f} %,"
            f" not of {mass_fraction * 100:.2f} %"
        )
    return rising_root(
        lambda temperature_c: saturation_mass_fraction(temperature_c) - mass_fraction,
        LOWEST_C,
        HIGHEST_C,
    )
