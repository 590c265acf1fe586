"""When a text about doubtful brine is worth it: by the odds that it is outside, and the costs.

A text is sent where  chance x cost of silence > (1 - chance) x cost of a false text.  Costs are
relative: a false text, that is a drive to the depot and a test by hydrometer, is 1.
"""

import math
from statistics import NormalDist

from brineward.physics.saturation import saturation_mass_fraction

SELDOM_OFF = 0.1886
"""Odds, before any reading, that brine is outside its band when nothing suggests it: a strength
must then be outside by one standard uncertainty (10 false texts in 200 runs at 24.7 %)."""
AS_LIKELY_AS_NOT = 1.0
"""The same once a fill has brought a mix that is itself outside the band."""
SILENCE_WEAK = 1.0
"""It freezes a kelvin earlier for each 0.6 %: as bad as a drive for nothing."""
SILENCE_STRONG_COLD, SILENCE_STRONG_MILD = 1.0, 0.5
"""Strong brine plugs pump and nozzles where it becomes so cold that it drops crystals (24 % at
-16 degC, 25 % at -9 degC); elsewhere it only wastes salt. Judgement, no source."""
UNTESTED_AT_LEAST = 1.5
"""A probe that was never tested must show brine outside by so many standard uncertainties."""
_COLDEST_C, _WARMEST_C = -21.0, 40.0


def uncertainties_outside(odds: float, silence: float) -> float:
    """By how many standard uncertainties a strength must be outside its limit to be announced.

    `odds` that it is outside before it is read, `silence` the cost of silence, both above 0. For
    even odds and a cost of 1 it is 0: as soon as it is more likely outside than not.
    Source: the decision of least expected cost; the strength's own uncertainty is taken as normal.
    """
    chance = 1.0 / (1.0 + odds * silence)
    return NormalDist().inv_cdf(chance)


def silence_strong(mass_fraction: float, expected_c: float | None) -> float:
    """The cost of silence about strong brine, by the cold ahead; None: cold is assumed.

    Mass fraction 0 to 0.3; temperature any.
    """
    if expected_c is None or not math.isfinite(expected_c):
        return SILENCE_STRONG_COLD
    at = min(max(expected_c, _COLDEST_C), _WARMEST_C)
    drops = mass_fraction > saturation_mass_fraction(at)
    return SILENCE_STRONG_COLD if drops else SILENCE_STRONG_MILD
