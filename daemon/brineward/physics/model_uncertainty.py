"""How far the conductivity curve itself may be wrong."""

from math import sqrt


def model_standard_uncertainty(mass_fraction: float, temperature_c: float) -> float:
    """Relative standard uncertainty of the curve's conductivity."""
    cold = max(0.0, 17.0 - temperature_c)
    warm = max(0.0, temperature_c - 28.0)
    weak = max(0.0, 0.12 - mass_fraction)
    grown = cold * (0.0003 + 2.3e-5 * cold) + 6e-4 * warm + 0.1 * weak
    return sqrt(0.004**2 + grown * grown)
