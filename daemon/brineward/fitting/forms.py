"""Forms that the conductivity curve may have: the chosen one, and others to see where they part.

Where forms that all agree with what was published disagree with one another, the published values
do not decide, and the curve's own uncertainty must be at least as large as the disagreement.
All share the level at 25 degC, and at infinite dilution are held to theory.
"""

from collections.abc import Callable
from typing import NamedTuple

import numpy as np
from scipy.optimize import least_squares

from brineward.fitting.conductivity_rows import (
    Curve,
    Floats,
    Observations,
    level_count,
    residuals_of,
)

Warmth = Callable[[Floats, Floats, Floats], Floats]
"""ln of conductivity over that at 25 degC, of unknowns, mass fraction and temperature."""

LIMIT = (5.374, -2.913)
"""ln(S/m per mass fraction) at infinite dilution, and its slope in the root of mass fraction.

From the limiting conductance of sodium chloride at 25 degC, 126.45 S cm2/mol, and the Onsager
slope, 89.2 S cm2/mol per root of mol/L (Robinson & Stokes, Electrolyte Solutions; from memory),
with water's 997.05 kg/m3 and 58.443 g/mol.
"""
LEVEL_TERMS = 4
"""Fitted powers of the root of mass fraction at 25 degC, after the two that the limit fixes."""


class Form(NamedTuple):
    """One way in which conductivity may depend on temperature, with a start for its unknowns."""

    name: str
    warmth: Warmth
    start: tuple[float, ...]


def _vogel(*, by_root: bool, steepness: int, ends: int) -> Warmth:
    def warmth(unknowns: Floats, mass_fraction: Floats, temperature_c: Floats) -> Floats:
        x = np.sqrt(mass_fraction) if by_root else mass_fraction
        steep = _polynomial(x, unknowns[:steepness])
        end = _polynomial(mass_fraction, unknowns[steepness:][:ends])
        return steep * (temperature_c - 25.0) / ((25.0 + end) * (temperature_c + end))

    return warmth


def _power_law(*, powers: int, ends: int) -> Warmth:
    def warmth(unknowns: Floats, mass_fraction: Floats, temperature_c: Floats) -> Floats:
        power = _polynomial(mass_fraction, unknowns[:powers])
        end = np.maximum(_polynomial(mass_fraction, unknowns[powers:][:ends]), 25.0)
        return power * np.log((temperature_c + end) / (25.0 + end))

    return warmth


def _arrhenius(unknowns: Floats, mass_fraction: Floats, temperature_c: Floats) -> Floats:
    x = np.log((temperature_c + 273.15) / 298.15)
    steep = _polynomial(mass_fraction, unknowns[:3])
    bend = _polynomial(mass_fraction, unknowns[3:])
    return steep * x / (1.0 + x) + bend * x * x


CHOSEN = Form(
    "Vogel, steepness by root of w, 3 terms (chosen)",
    _vogel(by_root=True, steepness=3, ends=1),
    (500.0, 0.0, 0.0, 130.0),
)
OTHERS = (
    Form(
        "Vogel, steepness by root of w, 4 terms",
        _vogel(by_root=True, steepness=4, ends=1),
        (500.0, 0.0, 0.0, 0.0, 130.0),
    ),
    Form(
        "Vogel, steepness by w",
        _vogel(by_root=False, steepness=3, ends=1),
        (500.0, 0.0, 0.0, 130.0),
    ),
    Form(
        "Vogel, steepness and end temperature by w",
        _vogel(by_root=False, steepness=3, ends=2),
        (500.0, 0.0, 0.0, 130.0, 0.0),
    ),
    Form("power law, as undercooled water", _power_law(powers=3, ends=1), (1.5, 0.0, 0.0, 45.0)),
    Form(
        "power law, end temperature by w",
        _power_law(powers=3, ends=2),
        (1.5, 0.0, 0.0, 45.0, 0.0),
    ),
    Form("Arrhenius with curvature", _arrhenius, (6.0, 0.0, 0.0, 0.0, 0.0)),
)


def fitted_unknowns(form: Form, observed: Observations) -> Floats:
    """The unknowns of least squares: the level's, then the warmth's."""
    residuals = residuals_of(observed)
    count = LEVEL_TERMS + len(form.start)
    start = np.concatenate([np.zeros(LEVEL_TERMS), form.start, np.zeros(level_count(observed))])
    found = least_squares(
        lambda unknowns: residuals(curve(form, unknowns[:count]), unknowns[count:]),
        start,
        x_scale="jac",
        max_nfev=5000,
        xtol=1e-14,
        ftol=1e-14,
    )
    unknowns: Floats = found.x[:count]
    return unknowns


def curve(form: Form, unknowns: Floats) -> Curve:
    """The curve of a form with its unknowns known."""
    level = np.concatenate([LIMIT, unknowns[:LEVEL_TERMS]])

    def log_conductivity(mass_fraction: Floats, temperature_c: Floats) -> Floats:
        at_25 = np.log(mass_fraction) + _polynomial(np.sqrt(mass_fraction), level)
        return at_25 + form.warmth(unknowns[LEVEL_TERMS:], mass_fraction, temperature_c)

    return log_conductivity


def fitted(form: Form, observed: Observations) -> Curve:
    """The curve of a form that agrees best with what was observed."""
    return curve(form, fitted_unknowns(form, observed))


def _polynomial(x: Floats, coefficients: Floats) -> Floats:
    return np.asarray(np.polynomial.polynomial.polyval(x, coefficients), dtype=np.float64)
