"""The exact inverse of the conductivity curve at one temperature.

At one temperature the curve is ``2 ln(s) + c0 + c1 s + ... + c5 s^5`` in the root s of mass
fraction. It rises and bends down up to saturation, so each step goes to the nearer root of the
parabola that has the curve's value, slope and bend (Cauchy's method: the digits treble, and a top
that is nearly flat is just what a parabola is good at).
"""

from math import exp, log, sqrt

from brineward.physics.conductivity_coefficients import LEVEL, OFFSET_K, STEEPNESS
from brineward.physics.liquid_lines import least_liquid, most_liquid
from brineward.physics.phase_coefficients import EUTECTIC_C

_A0, _A1, _A2, _A3, _A4, _A5 = LEVEL
_D0, _D1, _D2 = STEEPNESS
_FROM_25 = 25.0 + OFFSET_K
_3A3, _4A4, _5A5 = 3 * _A3, 4 * _A4, 5 * _A5
_6A3, _12A4, _20A5 = 6 * _A3, 12 * _A4, 20 * _A5

_S0, _S1, _S2, _S3 = 0.6576, 0.5263, -0.9912, 0.7710
"""The root over saturation's root, from the root of conductivity over saturation's: within 7 %.

Only where the search starts, so four digits by hand; the answer doesn't depend on them.
"""
_NEAR = 1e-6
_MOST_STEPS = 60


class Isotherm:
    """The curve at one temperature, up to one mass fraction."""

    __slots__ = ("_c0", "_c1", "_c2", "_most_root", "most_log")

    def __init__(self, temperature_c: float, most: float) -> None:
        warmth = (temperature_c - 25.0) / (_FROM_25 * (temperature_c + OFFSET_K))
        self._c0 = c0 = _A0 + warmth * _D0
        self._c1 = c1 = _A1 + warmth * _D1
        self._c2 = c2 = _A2 + warmth * _D2
        self._most_root = s = sqrt(most)
        self.most_log = log(most) + c0 + s * (c1 + s * (c2 + s * (_A3 + s * (_A4 + s * _A5))))
        """Natural logarithm of the conductivity at that mass fraction, S/m."""

    def mass_fraction(self, log_conductivity: float) -> float:
        """Where the curve has this logarithm of conductivity, which must not be above `most_log`.

        Exact to the last digits of a float; the bound itself where the logarithm is the bound's.
        """
        most = self._most_root
        target = log_conductivity - self._c0
        c1, c2 = self._c1, self._c2
        x = exp((log_conductivity - self.most_log) / 2.0)
        s = most * x * (_S0 + x * (_S1 + x * (_S2 + x * _S3)))
        if s == 0.0:
            return 0.0
        for _ in range(_MOST_STEPS):
            value = 2.0 * log(s) - target + s * (c1 + s * (c2 + s * (_A3 + s * (_A4 + s * _A5))))
            inverse = 1.0 / s
            slope = 2.0 * inverse + c1 + s * (2.0 * c2 + s * (_3A3 + s * (_4A4 + s * _5A5)))
            bend = -2.0 * inverse * inverse + 2.0 * c2 + s * (_6A3 + s * (_12A4 + s * _20A5))
            inside = slope * slope - 2.0 * value * bend
            step = 2.0 * value / (slope + sqrt(inside)) if inside > 0.0 else 2.0 * value / slope
            s -= step
            if s > most:  # noqa: PLR1730 - min() costs a call in the innermost loop
                s = most
            if -_NEAR * s < step < _NEAR * s:
                break
        return s * s


def liquid_mass_fraction(log_conductivity: float, temperature_c: float) -> float:
    """The strength that a conductivity gives, or of the nearest brine that is liquid there.

    `log_conductivity` is the logarithm of S/m, any; -25 to 40 degC, under the coldest at which any
    brine is liquid as at that.
    """
    liquid = max(temperature_c, EUTECTIC_C)
    isotherm = Isotherm(liquid, most_liquid(liquid))
    found = isotherm.mass_fraction(min(log_conductivity, isotherm.most_log))
    return max(found, least_liquid(liquid), 1e-4)
