"""Electrical conductivity of sodium chloride brine, from water to saturation, -22 to 40 degC.

The form, with w the mass fraction, s its root and t the temperature in degC::

    ln(conductivity) = ln(w) + A(s) + D(s) (t - 25) / ((25 + t0) (t + t0))

- ln(w) + A(s) is the conductivity at 25 degC. A is a polynomial in the *root* of w because ions
  slow one another down through their ionic atmospheres as the root of concentration (Kohlrausch;
  Debye, Hueckel and Onsager). Its first two terms are not fitted: they are the conductance at
  infinite dilution and Onsager's slope. So weak rinse water is read right without a row there.
- The temperature part is Vogel, Fulcher and Tammann's, the law of viscous liquids, because what an
  ion feels is the viscosity of the water around it (Walden): steeper the colder, with no kink at
  0 degC, and with an end temperature far below anything a depot sees. Its steepness D changes with
  the root of w for the same reason as A.

Other forms were fitted beside it (steepness in w, a power law of undercooled water, Arrhenius with
curvature); this one predicts best the sources and temperature ranges that were left out of its fit.
Where they differ from one another, the model's own uncertainty is larger (`model_uncertainty`).

The curve is that of the liquid. Whether there is one, or ice or salt crystals, is for
`freezing`, `saturation` and `salinity` to say. Pure water's own conductivity (5.5e-6 S/m at
25 degC) is left out: it is a hundred-thousandth of drinking water's.
"""

from math import exp, isfinite, log, sqrt

from brineward.physics.conductivity_coefficients import LEVEL, OFFSET_K, STEEPNESS
from brineward.physics.refusals import NotBrine

COLDEST_C = -25.0
"""Brine is liquid down to -21.1 degC; the rest is for thermometers that read too low."""
WARMEST_C = 40.0
MOST_MASS_FRACTION = 0.27
"""A little beyond saturation at 40 degC; the curve is not known further."""

_A0, _A1, _A2, _A3, _A4, _A5 = LEVEL
_D0, _D1, _D2 = STEEPNESS
_FROM_25 = 25.0 + OFFSET_K


def conductivity(mass_fraction: float, temperature_c: float) -> float:
    """Conductivity in S/m of the liquid, of mass fraction 0 to 0.27 at -25 to 40 degC.

    Valid: measured from 0 to 40 degC; below 0 degC the form is all there is.
    Uncertainty: `model_standard_uncertainty`, 0.45 % at 20 degC and about 3 % at -10 degC.
    Raises: NotBrine (out-of-range) outside of that.
    Source: fitted to the rows of `brineward.published`, see the module's text; saturated brine at
    20 degC is printed as 226.0 mS/cm.

    >>> round(conductivity(0.2644, 20.0), 1)
    22.6
    """
    refuse_outside(mass_fraction, temperature_c)
    if mass_fraction == 0.0:
        return 0.0
    return exp(log_conductivity(mass_fraction, temperature_c))


def log_conductivity(mass_fraction: float, temperature_c: float) -> float:
    """Natural logarithm of conductivity in S/m; the range is the caller's care."""
    root = sqrt(mass_fraction)
    warmth = (temperature_c - 25.0) / (_FROM_25 * (temperature_c + OFFSET_K))
    level = _A0 + root * (_A1 + root * (_A2 + root * (_A3 + root * (_A4 + root * _A5))))
    return log(mass_fraction) + level + warmth * (_D0 + root * (_D1 + root * _D2))


def slope_in_mass_fraction(mass_fraction: float, temperature_c: float) -> float:
    """Change of ln(conductivity) with mass fraction, closed form; mass fraction above 0."""
    root = sqrt(mass_fraction)
    warmth = (temperature_c - 25.0) / (_FROM_25 * (temperature_c + OFFSET_K))
    level = _A1 + root * (2 * _A2 + root * (3 * _A3 + root * (4 * _A4 + root * 5 * _A5)))
    return 1.0 / mass_fraction + (level + warmth * (_D1 + root * 2 * _D2)) / (2.0 * root)


def slope_in_temperature(mass_fraction: float, temperature_c: float) -> float:
    """Change of ln(conductivity) with temperature, per kelvin, closed form."""
    root = sqrt(mass_fraction)
    absolute = temperature_c + OFFSET_K
    return (_D0 + root * (_D1 + root * _D2)) / (absolute * absolute)


def refuse_outside(mass_fraction: float, temperature_c: float) -> None:
    """Refuse a mass fraction or a temperature that the curve does not know.

    Raises: NotBrine (out-of-range).
    """
    if not 0.0 <= mass_fraction <= MOST_MASS_FRACTION:
        raise NotBrine(
            "out-of-range",
            f"a mass fraction of {mass_fraction:g} is outside of 0 to {MOST_MASS_FRACTION:g}",
        )
    refuse_temperature(temperature_c)


def refuse_temperature(temperature_c: float) -> None:
    """Refuse a temperature that the curve does not know.

    Raises: NotBrine (out-of-range).
    """
    if not COLDEST_C <= temperature_c <= WARMEST_C:
        told = f"{temperature_c:.1f} degC" if isfinite(temperature_c) else "no number"
        raise NotBrine(
            "out-of-range",
            f"the temperature is {told}, and brine is known only from "
            f"{COLDEST_C:g} to {WARMEST_C:g} degC",
        )
