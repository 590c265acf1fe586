"""Fits the conductivity curve of sodium chloride brine to the published values.

    python -m brineward.fitting.conductivity            prints the fit
    python -m brineward.fitting.conductivity --write    and writes the coefficients module

The form and its physics are told in `brineward.physics.conductivity`. What goes in, and how:

- each row by its logarithm, weighed by a standard uncertainty judged for its source;
- each source may be off as a whole (one level of its own, expected within 0.15 %), since rows of
  one source share its cell constant, its salt and its thermometer;
- McCleskey's rows lie 1.5-2.5 % under Chambers-Stokes, so each of their mass fractions has a free
  level: only their ratio over temperature is used;
- Kohlrausch's temperature coefficients at 18 degC, as slopes;
- at infinite dilution the curve is held to the limiting conductance and the Onsager slope.

The rows of Chambers-Stokes are weighed less than their scatter deserves: they are twenty votes of
one laboratory at one temperature.
"""

import sys
from collections.abc import Callable, Sequence
from pathlib import Path
from typing import NamedTuple, cast

import numpy as np
import numpy.typing as npt
from scipy.optimize import least_squares

from brineward import published
from brineward.physics import conductivity_coefficients

Floats = npt.NDArray[np.float64]

LIMIT = (5.374, -2.913)
"""ln(S/m per mass fraction) at infinite dilution, and its slope in the root of mass fraction.

From the limiting conductance of sodium chloride at 25 degC, 126.45 S cm2/mol, and the Onsager
slope, 89.2 S cm2/mol per root of mol/L (Robinson & Stokes, Electrolyte Solutions; from memory),
with water's 997.05 kg/m3 and 58.443 g/mol.
"""
ROW_UNCERTAINTY = {
    "CSS25": 0.004,
    "CRC20": 0.003,
    "CRCD20": 0.003,
    "KOHL18": 0.003,
    "SATNACL": 0.003,
    "MCCL12": 0.002,
}
"""Relative standard uncertainty of a row by its source: judged, see the module's text."""
LEVEL_UNCERTAINTY = 0.0015
COEFFICIENT_UNCERTAINTY_PER_K = 3e-4
LEVEL_TERMS = 4
"""Fitted powers of the root of mass fraction at 25 degC, after the two that the limit fixes."""
STEEPNESS_TERMS = 3


class Fit(NamedTuple):
    """The fitted curve."""

    level: tuple[float, ...]
    steepness: tuple[float, ...]
    offset_k: float


class Observations(NamedTuple):
    """What is fitted: rows of conductivity, and slopes at 18 degC."""

    rows: tuple[published.ConductivityRow, ...]
    coefficients: tuple[published.ConductivityCoefficientRow, ...]


def observations() -> Observations:
    """Every published conductivity and temperature coefficient."""
    return Observations(published.conductivity_rows(), published.conductivity_coefficient_rows())


def fit(observed: Observations) -> Fit:
    """The curve of least squares through what was observed."""
    residuals = _residuals_of(observed)
    start = np.zeros(LEVEL_TERMS + STEEPNESS_TERMS + 1 + len(_levels_of(observed)))
    start[LEVEL_TERMS] = 500.0
    start[LEVEL_TERMS + STEEPNESS_TERMS] = 130.0
    found = least_squares(residuals, start, x_scale="jac", max_nfev=5000, xtol=1e-14, ftol=1e-14)
    return _unpacked(cast(Floats, found.x))


def log_conductivity(curve: Fit, mass_fraction: Floats, temperature_c: Floats) -> Floats:
    """Natural logarithm of conductivity in S/m."""
    root = np.sqrt(mass_fraction)
    warmth = (temperature_c - 25.0) / ((25.0 + curve.offset_k) * (temperature_c + curve.offset_k))
    level = np.polynomial.polynomial.polyval(root, curve.level)
    steepness = np.polynomial.polynomial.polyval(root, curve.steepness)
    return np.log(mass_fraction) + level + steepness * warmth


def relative_errors(curve: Fit, rows: Sequence[published.ConductivityRow]) -> Floats:
    """Curve over row, less one, in the order of the rows."""
    mass_fraction, temperature_c, measured = _columns(rows)
    return np.exp(log_conductivity(curve, mass_fraction, temperature_c)) / measured - 1


def coefficients_text(curve: Fit) -> str:
    """The source of the coefficients module."""
    level = "\n".join(f"    {value!r}," for value in curve.level)
    steepness = "\n".join(f"    {value!r}," for value in curve.steepness)
    return (
        '"""Coefficients of the conductivity curve.\n\n'
        "Written by `python -m brineward.fitting.conductivity --write`; not by hand.\n"
        '"""\n\n'
        f"LEVEL = (\n{level}\n)\n"
        f"STEEPNESS = (\n{steepness}\n)\n"
        f"OFFSET_K = {curve.offset_k!r}\n"
    )


def _residuals_of(observed: Observations) -> Callable[[Floats], Floats]:
    mass_fraction, temperature_c, measured = _columns(observed.rows)
    uncertainty = _row_uncertainties(observed.rows)
    levels = _levels_of(observed)
    level_of_row = np.array([levels.index(_level_name(row)) for row in observed.rows])
    tightness = np.array([0.0 if isinstance(name, tuple) else 1.0 for name in levels])
    at = np.array([row.mass_fraction for row in observed.coefficients])
    slope = np.array([row.coefficient_per_k for row in observed.coefficients])
    count = LEVEL_TERMS + STEEPNESS_TERMS + 1

    def residuals(unknowns: Floats) -> Floats:
        curve = _unpacked(unknowns)
        offsets = unknowns[count:]
        of_rows = (
            log_conductivity(curve, mass_fraction, temperature_c)
            + offsets[level_of_row]
            - np.log(measured)
        ) / uncertainty
        rise = log_conductivity(curve, at, at * 0 + 18.5) - log_conductivity(
            curve, at, at * 0 + 17.5
        )
        return np.concatenate(
            [
                of_rows,
                offsets * tightness / LEVEL_UNCERTAINTY,
                (rise - slope) / COEFFICIENT_UNCERTAINTY_PER_K,
            ]
        )

    return residuals


def _unpacked(unknowns: Floats) -> Fit:
    values = [float(value) for value in unknowns]
    return Fit(
        level=(*LIMIT, *values[:LEVEL_TERMS]),
        steepness=tuple(values[LEVEL_TERMS : LEVEL_TERMS + STEEPNESS_TERMS]),
        offset_k=values[LEVEL_TERMS + STEEPNESS_TERMS],
    )


def _level_name(row: published.ConductivityRow) -> str | tuple[str, float]:
    if row.source == "MCCL12":
        return (row.source, row.mass_fraction)
    return row.source


def _levels_of(observed: Observations) -> list[str | tuple[str, float]]:
    return sorted({_level_name(row) for row in observed.rows}, key=str)


def _row_uncertainties(rows: Sequence[published.ConductivityRow]) -> Floats:
    judged = np.array([ROW_UNCERTAINTY[row.source] for row in rows])
    # CRC20 is printed to three figures: a rectangle of half a last digit either way.
    last_digit = np.array(
        [
            (0.1 if row.conductivity_s_per_m >= 10 else 0.01) if row.source == "CRC20" else 0.0
            for row in rows
        ]
    )
    measured = np.array([row.conductivity_s_per_m for row in rows])
    return cast(Floats, np.hypot(judged, last_digit / np.sqrt(12) / measured))


def _columns(rows: Sequence[published.ConductivityRow]) -> tuple[Floats, Floats, Floats]:
    return (
        np.array([row.mass_fraction for row in rows]),
        np.array([row.temperature_c for row in rows]),
        np.array([row.conductivity_s_per_m for row in rows]),
    )


def main(arguments: Sequence[str]) -> None:
    """Fit, print each row's error, and write the coefficients where asked to."""
    observed = observations()
    curve = fit(observed)
    for row, error in zip(observed.rows, relative_errors(curve, observed.rows), strict=True):
        sys.stdout.write(
            f"{row.source:8} {row.mass_fraction * 100:7.3f} % {row.temperature_c:5.1f} degC "
            f"{row.conductivity_s_per_m:8.4f} S/m {error * 100:+6.2f} %\n"
        )
    text = coefficients_text(curve)
    sys.stdout.write(text)
    if "--write" in arguments:
        Path(conductivity_coefficients.__file__).write_text(text, encoding="utf-8")


if __name__ == "__main__":
    main(sys.argv[1:])
