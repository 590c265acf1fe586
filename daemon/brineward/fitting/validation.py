"""How well the conductivity curve predicts what it was not shown, and where it does not know.

    python -m brineward.fitting.validation

Whole sources and whole temperature ranges are left out, never single rows: a row's neighbours of
the same source at the same temperature would give it away. Then, over the plane in which brine is
liquid, two spreads about the curve: of other forms fitted to the same rows, and of the curve fitted
with something left out. `brineward.physics.model_uncertainty` must nowhere be below the two
together, which a test holds.
"""

import sys
from collections.abc import Callable, Mapping
from typing import NamedTuple

import numpy as np

from brineward.fitting.conductivity_rows import (
    RATIO_ONLY,
    Curve,
    Floats,
    Observations,
    observations,
    relative_errors,
    without_source,
    without_temperatures,
)
from brineward.fitting.forms import CHOSEN, OTHERS, fitted
from brineward.physics.liquid_lines import least_liquid, most_liquid
from brineward.physics.model_uncertainty import model_standard_uncertainty
from brineward.published import ConductivityRow

SOURCES = ("CSS25", "CRC20", "CRCD20", "KOHL18", "SATNACL")
RANGES_C = ((-1.0, 5.0), (-1.0, 12.0), (14.0, 22.0), (22.5, 41.0), (27.0, 41.0))
TEMPERATURES_C = (-20.0, -15.0, -10.0, -5.0, 0.0, 5.0, 10.0, 15.0, 20.0, 25.0, 30.0, 35.0, 40.0)
MASS_FRACTIONS = (0.01, 0.03, 0.05, 0.10, 0.15, 0.20, 0.233, 0.25, 0.26)


class LeftOut(NamedTuple):
    """A row that the fit was not shown, with the error of the fit."""

    without: str
    row: ConductivityRow
    error: float
    """Relative: curve over row, less one."""


def left_out() -> list[LeftOut]:
    """Every row that was left out with its source or its temperature range.

    The rows of which only the ratio over temperature is fitted have no error of their own.
    """
    found: list[LeftOut] = []
    everything = observations().rows
    for name, shown in _partial_observations().items():
        curve = fitted(CHOSEN, shown)
        rows = [row for row in everything if row not in shown.rows and row.source != RATIO_ONLY]
        errors = relative_errors(curve, rows)
        found += [LeftOut(name, row, float(error)) for row, error in zip(rows, errors, strict=True)]
    return found


def spread_of_forms() -> Callable[[Floats, Floats], Floats]:
    """Root mean square of how far the other forms are from the curve, relative."""
    observed = observations()
    return _spread(fitted(CHOSEN, observed), [fitted(form, observed) for form in OTHERS])


def spread_of_partial_fits() -> Callable[[Floats, Floats], Floats]:
    """Root mean square of how far the curve goes when something is left out, relative."""
    partial = [fitted(CHOSEN, shown) for shown in _partial_observations().values()]
    return _spread(fitted(CHOSEN, observations()), partial)


def liquid_plane() -> list[tuple[float, float]]:
    """Mass fractions and temperatures all over the plane in which brine is liquid."""
    return [
        (mass_fraction, temperature_c)
        for temperature_c in TEMPERATURES_C
        for mass_fraction in (
            *MASS_FRACTIONS,
            least_liquid(temperature_c) + 1e-6,
            most_liquid(temperature_c) - 1e-6,
        )
        if max(least_liquid(temperature_c), 0.005) <= mass_fraction <= most_liquid(temperature_c)
    ]


def _partial_observations() -> Mapping[str, Observations]:
    everything = observations()
    by_source = {f"without {name}": without_source(everything, name) for name in SOURCES}
    by_range = {
        f"without {low:g} to {high:g} degC": without_temperatures(everything, low, high)
        for low, high in RANGES_C
    }
    return {**by_source, **by_range}


def _spread(chosen: Curve, others: list[Curve]) -> Callable[[Floats, Floats], Floats]:
    def spread(mass_fraction: Floats, temperature_c: Floats) -> Floats:
        middle = chosen(mass_fraction, temperature_c)
        off = [other(mass_fraction, temperature_c) - middle for other in others]
        together: Floats = np.sqrt(np.mean(np.square(off), axis=0))
        return together

    return spread


def main() -> None:
    """Print the errors left out, then the spreads and the stated uncertainty over the plane."""
    for name, row, error in left_out():
        sys.stdout.write(
            f"{name:26} {row.source:8} {row.mass_fraction * 100:7.3f} % "
            f"{row.temperature_c:5.1f} degC {error * 100:+6.2f} %\n"
        )
    plane = liquid_plane()
    mass_fraction, temperature_c = (np.array(axis) for axis in zip(*plane, strict=True))
    forms = spread_of_forms()(mass_fraction, temperature_c)
    partial = spread_of_partial_fits()(mass_fraction, temperature_c)
    sys.stdout.write("\n      w    degC   forms  partial  stated (%)\n")
    for (w, t), a, b in zip(plane, forms, partial, strict=True):
        stated = model_standard_uncertainty(w, t)
        sys.stdout.write(
            f"{w * 100:7.2f} {t:7.1f} {a * 100:7.2f} {b * 100:8.2f} {stated * 100:7.2f}"
            f"{'  below' if stated < np.hypot(a, b) else ''}\n"
        )


if __name__ == "__main__":
    main()
