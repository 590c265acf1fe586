"""The lines between which brine is liquid, quick enough to compute for every reading.

`freezing` and `saturation` know the lines; the ice line costs them a search. Here each is a
polynomial through some of its points (Newton's divided differences at Chebyshev's nodes), made
once when this module is imported, so it can't fall out of step with them: within 5e-6 in mass
fraction, which a test holds.
"""

from collections.abc import Callable, Sequence
from math import cos, pi, sqrt

from brineward.physics.freezing import ice_line_mass_fraction
from brineward.physics.phase_coefficients import EUTECTIC_C, TRANSITION_C
from brineward.physics.saturation import saturation_mass_fraction

WARMEST_C = 40.0


def _through(line: Callable[[float], float], low: float, high: float, count: int) -> list[float]:
    """Coefficients, lowest power first, of the polynomial through `count` points of the line."""
    nodes = [
        (low + high) / 2.0 + (high - low) / 2.0 * cos(pi * (2 * i + 1) / (2 * count))
        for i in range(count)
    ]
    differences = [line(node) for node in nodes]
    for order in range(1, count):
        for i in range(count - 1, order - 1, -1):
            rise = differences[i] - differences[i - 1]
            differences[i] = rise / (nodes[i] - nodes[i - order])
    return _powers_from_newton(differences, nodes)


def _powers_from_newton(differences: Sequence[float], nodes: Sequence[float]) -> list[float]:
    powers = [differences[-1]]
    for i in range(len(differences) - 2, -1, -1):
        shifted = [0.0, *powers]
        for j, power in enumerate(powers):
            shifted[j] -= nodes[i] * power
        shifted[0] += differences[i]
        powers = shifted
    return powers


_I0, _I1, _I2, _I3, _I4, _I5, _I6, _I7 = _through(
    lambda root: ice_line_mass_fraction(-root * root) / (root * root),
    0.0,
    sqrt(-EUTECTIC_C) - 1e-12,
    8,
)
_C0, _C1, _C2, _C3, _C4 = _through(saturation_mass_fraction, EUTECTIC_C, TRANSITION_C - 1e-9, 5)
_H0, _H1, _H2, _H3, _H4 = _through(saturation_mass_fraction, TRANSITION_C, WARMEST_C, 5)


def least_liquid(temperature_c: float) -> float:
    """Mass fraction of brine in balance with ice, from the eutectic up; 0 from 0 degC up."""
    if temperature_c >= 0.0:
        return 0.0
    x = sqrt(-temperature_c)
    upper = _I3 + x * (_I4 + x * (_I5 + x * (_I6 + x * _I7)))
    return -temperature_c * (_I0 + x * (_I1 + x * (_I2 + x * upper)))


def most_liquid(temperature_c: float) -> float:
    """Mass fraction of saturated brine, from the eutectic to 40 degC."""
    t = temperature_c
    if t < TRANSITION_C:
        return _C0 + t * (_C1 + t * (_C2 + t * (_C3 + t * _C4)))
    return _H0 + t * (_H1 + t * (_H2 + t * (_H3 + t * _H4)))
