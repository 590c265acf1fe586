"""How far the conductivity curve itself may be wrong, as a function of strength and temperature.

Three independent components, each one standard deviation:

- *level*: how far independent sources differ at one temperature. From 5 % by mass up
  Chambers-Stokes and Kohlrausch's lineage differ by 0.3-0.6 %. Below, McCleskey's correlation lies
  up to 2.7 % under the curve and either may be right: a rectangle of that half-width (JCGM 100,
  4.3.7).
- *gap*: nothing was published between 5.5 % and saturation away from 18-25 degC. How far the
  fitted forms differ there grows with the distance from 21 degC and is greatest midway, at 15 %.
- *cold and warm*: far from 25 degC the curve depends on its form and on one lineage. Below 0 degC
  there is no measured value at all; four outside estimates (Walden's rule with a viscosity,
  PHREEQC unchanged and scaled to the saturated row, sea-ice brine) lie -5 to +3 % about a fit like
  this one at -10 degC.

`brineward.fitting.validation` computes the spreads, and a test checks that this function is nowhere
below them where brine is liquid. The sizes of *cold and warm* are judgement, not computed.
"""

from math import sqrt
from typing import NamedTuple

STRONG_LEVEL = 0.0045
WEAK_LEVEL = 0.015
_WEAK_FROM = 0.025
_STRONG_FROM = 0.05
GAP_PER_K = 0.00055
GAP_CENTRE_C = 21.0
_GAP_FROM = 0.055
_GAP_TO = 0.26
_GAP_SCALE = 4.0 / (_GAP_TO - _GAP_FROM) ** 2
COLD_PER_K = 0.0007
COLD_FROM_C = 20.0
UNMEASURED_PER_K = 0.0008
"""On top of the cold's, below 0 degC."""
WARM_PER_K = 0.0007
WARM_FROM_C = 27.0
REPEATED_LEVEL = 0.001
"""What is left of the level when a probe was calibrated in brine of about this strength."""


class ModelParts(NamedTuple):
    """The three as relative amounts at one point; the sign is the direction of the error."""

    level: float
    gap: float
    far: float


def model_parts(mass_fraction: float, temperature_c: float) -> ModelParts:
    """What one standard deviation of each part adds to ln(conductivity) here; ranges as below."""
    return ModelParts(
        _level(mass_fraction),
        _gap(mass_fraction) * (temperature_c - GAP_CENTRE_C),
        _far(temperature_c),
    )


def model_standard_uncertainty(mass_fraction: float, temperature_c: float) -> float:
    """Relative standard uncertainty of the curve's conductivity.

    Mass fraction 0 to saturation, temperature -25 to 40 degC.
    Source: the cross-validation of `brineward.fitting.validation`; judged in the cold.
    """
    level = _level(mass_fraction)
    gap = _gap(mass_fraction) * (temperature_c - GAP_CENTRE_C)
    far = _far(temperature_c)
    return sqrt(level * level + gap * gap + far * far)


def model_drift_standard_uncertainty(
    mass_fraction: float, temperature_c: float, calibrated_at_c: float
) -> float:
    """Relative standard uncertainty of the curve's ratio between a temperature and another.

    This is what is left of the model's uncertainty at `temperature_c` for a probe that was
    calibrated in the same brine at `calibrated_at_c`; ranges as above. Each part is taken as one
    error that has grown from the one temperature to the other.
    """
    gap = _gap(mass_fraction) * (temperature_c - calibrated_at_c)
    far = _far(temperature_c) - _far(calibrated_at_c)
    return sqrt(REPEATED_LEVEL * REPEATED_LEVEL + gap * gap + far * far)


def _level(mass_fraction: float) -> float:
    if mass_fraction >= _STRONG_FROM:
        return STRONG_LEVEL
    if mass_fraction <= _WEAK_FROM:
        return WEAK_LEVEL
    share = (_STRONG_FROM - mass_fraction) / (_STRONG_FROM - _WEAK_FROM)
    return STRONG_LEVEL + share * (WEAK_LEVEL - STRONG_LEVEL)


def _gap(mass_fraction: float) -> float:
    if not _GAP_FROM < mass_fraction < _GAP_TO:
        return 0.0
    return GAP_PER_K * _GAP_SCALE * (mass_fraction - _GAP_FROM) * (_GAP_TO - mass_fraction)


def _far(temperature_c: float) -> float:
    """Signed, so that the difference over the middle is the sum of both sides."""
    if temperature_c < 0.0:
        return -COLD_PER_K * (COLD_FROM_C - temperature_c) + UNMEASURED_PER_K * temperature_c
    if temperature_c < COLD_FROM_C:
        return -COLD_PER_K * (COLD_FROM_C - temperature_c)
    if temperature_c > WARM_FROM_C:
        return WARM_PER_K * (temperature_c - WARM_FROM_C)
    return 0.0
