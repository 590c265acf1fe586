"""Fits the ice, hydrohalite and halite lines to the published values and writes the coefficients.

    python -m brineward.fitting.phases daemon/brineward/physics/phase_coefficients.py

The ice line: three coefficients of Pitzer's osmotic coefficient. Halite: three of the van 't Hoff
form, held at the published transition and to the published slope there. Hydrohalite: the same
form, held at the transition and to the ice line at the eutectic, so that the three lines meet; one
coefficient is left to the published values.
"""

import sys
from collections.abc import Callable
from pathlib import Path

import numpy as np
from numpy.typing import NDArray
from scipy.optimize import brentq, least_squares

from brineward.physics import freezing
from brineward.physics.salt import (
    MOLAR_MASS_WATER_KG_PER_MOL,
    ZERO_CELSIUS_K,
    molality_from_mass_fraction,
)
from brineward.published import freezing_rows, solubility_rows

EUTECTIC_MASS_FRACTION = 0.2331
TRANSITION_C = 0.1
TRANSITION = (TRANSITION_C, 0.2631)
# Solubility rises here by 0.0016 (Pabalan & Pitzer) to 0.0046 % by mass per degC (Salt Institute);
# free, the fit would let it fall by a hair, and then no temperature belongs to a strength.
ABOVE_TRANSITION = (TRANSITION_C + 1.0, 0.26312)
Coefficients = tuple[float, float, float]
Array = NDArray[np.float64]


def fit_ice() -> tuple[Coefficients, Callable[[float], float]]:
    """The osmotic coefficients of least squares in temperature, and the ice line they make."""
    rows = [row for row in freezing_rows() if row.solid_phase in ("ice", "eutectic")]

    def ice_point_c(mass_fraction: float, coefficients: Coefficients) -> float:
        molality = molality_from_mass_fraction(mass_fraction)
        osmotic = freezing.osmotic_coefficient(molality, coefficients)
        brine = -2.0 * molality * MOLAR_MASS_WATER_KG_PER_MOL * osmotic
        over_ice = freezing._log_activity_over_ice  # noqa: SLF001 - the fit is the formula's other half
        return float(brentq(lambda t: over_ice(t) - brine, -60.0, 1.0, xtol=1e-12))

    def misses(parameters: Array) -> list[float]:
        coefficients = (float(parameters[0]), float(parameters[1]), float(parameters[2]))
        return [ice_point_c(row.mass_fraction, coefficients) - row.temperature_c for row in rows]

    found = least_squares(misses, [0.06, 0.25, 0.0]).x
    coefficients = (float(found[0]), float(found[1]), float(found[2]))
    return coefficients, lambda mass_fraction: ice_point_c(mass_fraction, coefficients)


def _held_line(points: list[tuple[float, float]], held: list[tuple[float, float]]) -> Coefficients:
    """The line of least squares in ln(molality) that runs exactly through the points held.

    Points are (temperature_c, mass_fraction); the equations of constrained least squares.
    """
    terms, logs = _equations(points)
    held_terms, held_logs = _equations(held)
    size = len(held)
    system = np.block([[terms.T @ terms, held_terms.T], [held_terms, np.zeros((size, size))]])
    a, b, c, *_ = np.linalg.solve(system, np.concatenate([terms.T @ logs, held_logs]))
    return (float(a), float(b), float(c))


def _equations(points: list[tuple[float, float]]) -> tuple[Array, Array]:
    ratios = np.array([(temperature_c + ZERO_CELSIUS_K) / 298.15 for temperature_c, _ in points])
    terms = np.stack([np.ones_like(ratios), 1.0 / ratios - 1.0, np.log(ratios)], axis=1)
    logs = np.log([molality_from_mass_fraction(mass_fraction) for _, mass_fraction in points])
    return terms, logs


def fit_halite() -> Coefficients:
    """The halite line, from the transition up."""
    points = [
        (row.temperature_c, row.mass_fraction)
        for row in solubility_rows()
        if row.temperature_c > TRANSITION_C
    ]
    return _held_line(points, [TRANSITION, ABOVE_TRANSITION])


def fit_hydrohalite(eutectic_c: float) -> Coefficients:
    """The hydrohalite line, from the eutectic to the transition."""
    points = [
        (row.temperature_c, row.mass_fraction)
        for row in freezing_rows()
        if row.solid_phase == "hydrohalite"
    ]
    return _held_line(points, [TRANSITION, (eutectic_c, EUTECTIC_MASS_FRACTION)])


def coefficients_module() -> str:
    """The text of `brineward.physics.phase_coefficients`."""
    osmotic, ice_point_c = fit_ice()
    eutectic_c = ice_point_c(EUTECTIC_MASS_FRACTION)
    halite = fit_halite()
    hydrohalite = fit_hydrohalite(eutectic_c)
    lines = [
        '"""Coefficients of the ice, hydrohalite and halite lines; written by',
        '`brineward.fitting.phases`."""',
        "",
        f"EUTECTIC_MASS_FRACTION = {EUTECTIC_MASS_FRACTION}",
        '"""Salt Institute."""',
        f"EUTECTIC_C = {eutectic_c:.6f}",
        '"""Of the fitted ice line at that strength; published as -21.1 and -21.11."""',
        f"TRANSITION_C = {TRANSITION_C}",
        '"""Salt Institute."""',
        "",
        _assignment("OSMOTIC", osmotic),
        '"""Pitzer\'s beta0, beta1 (kg/mol) and C-phi (kg2/mol2) along the freezing line."""',
        _assignment("HYDROHALITE", hydrohalite),
        '"""a, b, c of ln(molality) = a + b (298.15/T - 1) + c ln(T/298.15)."""',
        _assignment("HALITE", halite),
        '"""The same for halite."""',
    ]
    return "\n".join(lines) + "\n"


def _assignment(name: str, coefficients: Coefficients) -> str:
    return f"{name} = ({', '.join(f'{value:.12g}' for value in coefficients)})"


def main(arguments: list[str]) -> int:
    """Write the coefficients to the file named, or to standard output."""
    text = coefficients_module()
    if arguments:
        Path(arguments[0]).write_text(text, encoding="utf-8")
    else:
        sys.stdout.write(text)
    return 0


if __name__ == "__main__":
    sys.exit(main(sys.argv[1:]))
