"""The inverse of the conductivity curve for compiled loops: the search of `inversion`.

It is written a second time because there it is laid out for the interpreter. Not a number is the
answer where the scalar function refuses.
"""

from math import exp, inf, log, nan, sqrt
from typing import NamedTuple

from brineward.physics.compiled import compiled
from brineward.physics.conductivity import WARMEST_C
from brineward.physics.conductivity_coefficients import LEVEL, OFFSET_K, STEEPNESS
from brineward.physics.liquid_lines import most_liquid as most_liquid_plain
from brineward.physics.phase_coefficients import EUTECTIC_C

A0, A1, A2, A3, A4, A5 = LEVEL
D0, D1, D2 = STEEPNESS
FROM_25 = 25.0 + OFFSET_K
_NEAR = 1e-6
_MOST_STEPS = 60
_LAST_DIGITS = 1e-12

most_liquid = compiled(most_liquid_plain)


class Curve(NamedTuple):
    """The curve at one temperature, ``2 ln(s) + c0 + c1 s + c2 s^2 + ...``, up to a root."""

    c0: float
    c1: float
    c2: float
    most: float
    most_log: float


@compiled
def curve(temperature_c: float, most: float) -> Curve:
    """The curve at a temperature in degC up to a mass fraction; the range is the caller's care."""
    warmth = (temperature_c - 25.0) / (FROM_25 * (temperature_c + OFFSET_K))
    c0, c1, c2 = A0 + warmth * D0, A1 + warmth * D1, A2 + warmth * D2
    s = sqrt(most)
    most_log = log(most) + c0 + s * (c1 + s * (c2 + s * (A3 + s * (A4 + s * A5))))
    return Curve(c0, c1, c2, s, most_log)


@compiled
def root(at: Curve, log_conductivity: float) -> float:
    """Root of the mass fraction with this logarithm of S/m, which is not above the curve's most."""
    target = log_conductivity - at.c0
    s = at.most * exp((log_conductivity - at.most_log) / 2.0)
    for _ in range(_MOST_STEPS):
        if s == 0.0:
            break
        value = 2.0 * log(s) - target + s * (at.c1 + s * (at.c2 + s * (A3 + s * (A4 + s * A5))))
        slope = 2.0 / s + at.c1 + s * (2 * at.c2 + s * (3 * A3 + s * (4 * A4 + s * 5 * A5)))
        bend = -2.0 / (s * s) + 2 * at.c2 + s * (6 * A3 + s * (12 * A4 + s * 20 * A5))
        inside = slope * slope - 2.0 * value * bend
        step = 2.0 * value / (slope + sqrt(inside)) if inside > 0.0 else 2.0 * value / slope
        s = min(s - step, at.most)
        if abs(step) < _NEAR * s:
            break
    return s


@compiled
def mass_fraction(conductivity_s_per_m: float, temperature_c: float) -> float:
    """`mass_fraction_from_conductivity`, S/m and degC; not a number where that refuses."""
    if not (EUTECTIC_C <= temperature_c <= WARMEST_C and 0.0 <= conductivity_s_per_m < inf):
        return nan
    if conductivity_s_per_m == 0.0:
        return 0.0
    at = curve(temperature_c, most_liquid(temperature_c))
    log_conductivity = log(conductivity_s_per_m)
    if log_conductivity > at.most_log + _LAST_DIGITS:
        return nan
    s = root(at, log_conductivity)
    return s * s
