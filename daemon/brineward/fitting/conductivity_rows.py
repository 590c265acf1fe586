"""What a form of the conductivity curve is fitted to, and how much each row weighs.

- Each row counts by its logarithm, over a standard uncertainty judged for its source.
- Each source may be off as a whole: one level of its own, expected within 0.15 %, since rows of
  one source share its cell constant, its salt and its thermometer.
- McCleskey's rows lie 1.5-2.5 % under Chambers-Stokes, so each of their mass fractions has a free
  level: only their ratio over temperature is used.
- Kohlrausch's temperature coefficients at 18 degC count as slopes.

The rows of Chambers-Stokes are weighed less than their scatter deserves: they are twenty votes of
one laboratory at one temperature.
"""

from collections.abc import Callable, Sequence
from typing import NamedTuple

import numpy as np
import numpy.typing as npt

from brineward import published

Floats = npt.NDArray[np.float64]
Curve = Callable[[Floats, Floats], Floats]
"""ln of conductivity in S/m, of mass fractions and temperatures in degC."""

ROW_UNCERTAINTY = {
    "CSS25": 0.004,
    "CRC20": 0.003,
    "CRCD20": 0.003,
    "KOHL18": 0.003,
    "SATNACL": 0.003,
    "MCCL12": 0.002,
}
"""Relative standard uncertainty of a row by its source: judged, see the module's text."""
RATIO_ONLY = "MCCL12"
LEVEL_UNCERTAINTY = 0.0015
COEFFICIENT_UNCERTAINTY_PER_K = 3e-4


class Observations(NamedTuple):
    """What is fitted: rows of conductivity, and slopes at 18 degC."""

    rows: tuple[published.ConductivityRow, ...]
    coefficients: tuple[published.ConductivityCoefficientRow, ...]


def observations() -> Observations:
    """Every published conductivity and temperature coefficient."""
    return Observations(published.conductivity_rows(), published.conductivity_coefficient_rows())


def without_source(observed: Observations, source: str) -> Observations:
    """The observations less everything that one source says."""
    return Observations(
        tuple(row for row in observed.rows if row.source != source),
        tuple(row for row in observed.coefficients if row.source != source),
    )


def without_temperatures(observed: Observations, low_c: float, high_c: float) -> Observations:
    """The observations less everything from `low_c` to `high_c`."""
    return Observations(
        tuple(row for row in observed.rows if not low_c <= row.temperature_c <= high_c),
        () if low_c <= 18.0 <= high_c else observed.coefficients,
    )


def relative_errors(curve: Curve, rows: Sequence[published.ConductivityRow]) -> Floats:
    """Curve over row, less one, in the order of the rows."""
    mass_fraction, temperature_c, measured = columns(rows)
    return np.exp(curve(mass_fraction, temperature_c)) / measured - 1.0


def level_count(observed: Observations) -> int:
    """How many levels are unknown."""
    return len(_levels(observed))


def residuals_of(observed: Observations) -> Callable[[Curve, Floats], Floats]:
    """The residuals, each over its standard uncertainty, of a curve and the sources' levels."""
    mass_fraction, temperature_c, measured = columns(observed.rows)
    uncertainty = _row_uncertainties(observed.rows)
    names = _levels(observed)
    level_of_row = np.array([names.index(_level(row)) for row in observed.rows])
    tightness = np.array([0.0 if name[0] == RATIO_ONLY else 1.0 for name in names])
    at = np.array([row.mass_fraction for row in observed.coefficients])
    slope = np.array([row.coefficient_per_k for row in observed.coefficients])

    def residuals(curve: Curve, levels: Floats) -> Floats:
        of_rows = curve(mass_fraction, temperature_c) + levels[level_of_row] - np.log(measured)
        rise = curve(at, np.full_like(at, 18.5)) - curve(at, np.full_like(at, 17.5))
        return np.concatenate(
            [
                of_rows / uncertainty,
                levels * tightness / LEVEL_UNCERTAINTY,
                (rise - slope) / COEFFICIENT_UNCERTAINTY_PER_K,
            ]
        )

    return residuals


def columns(rows: Sequence[published.ConductivityRow]) -> tuple[Floats, Floats, Floats]:
    """Mass fractions, temperatures and conductivities of the rows."""
    return (
        np.array([row.mass_fraction for row in rows]),
        np.array([row.temperature_c for row in rows]),
        np.array([row.conductivity_s_per_m for row in rows]),
    )


def _levels(observed: Observations) -> list[tuple[str, float]]:
    return sorted({_level(row) for row in observed.rows})


def _level(row: published.ConductivityRow) -> tuple[str, float]:
    return (row.source, row.mass_fraction if row.source == RATIO_ONLY else 0.0)


def _row_uncertainties(rows: Sequence[published.ConductivityRow]) -> Floats:
    _, _, measured = columns(rows)
    judged = np.array([ROW_UNCERTAINTY[row.source] for row in rows])
    # CRC20 is printed to three figures: a rectangle of half a last digit either way.
    printed = np.array([row.source == "CRC20" for row in rows]) * np.where(
        measured >= 10, 0.1, 0.01
    )
    together: Floats = np.hypot(judged, printed / np.sqrt(12.0) / measured)
    return together
