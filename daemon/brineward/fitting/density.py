"""Fits the density surface to the published values and writes its coefficients.

    python -m brineward.fitting.density daemon/brineward/physics/density_coefficients.py

Specific volume = (water's) exp(-w/w0) + v0(t) (1 - exp(-w/w0)) + v1(t) w + v2(t) w**2, each v a
parabola in temperature: nine coefficients, linear least squares in relative density. w0 is given,
not fitted: 0.02 to 0.08 fit within 0.03 %, the last best, and the cold hardly depends on it.
"""

import sys
from pathlib import Path

import numpy as np
from numpy.typing import NDArray

from brineward.physics.water import water_density
from brineward.published import density_rows

ANOMALY_MASS_FRACTION = 0.08


def fit_surface() -> NDArray[np.float64]:
    """The coefficients, a row for each of v0, v1, v2; columns are powers of t/100 degC; L/kg."""
    rows = density_rows()
    terms, volumes = [], []
    for row in rows:
        water = float(np.exp(-row.mass_fraction / ANOMALY_MASS_FRACTION))
        powers = np.array([(row.temperature_c / 100) ** power for power in range(3)])
        salts = (1 - water, row.mass_fraction, row.mass_fraction**2)
        terms.append(np.concatenate([salt * powers for salt in salts]))
        volumes.append(
            1000 / row.density_kg_per_m3 - water * 1000 / water_density(row.temperature_c)
        )
    weights = np.array([row.density_kg_per_m3 / 1000 for row in rows])
    system = np.array(terms) * weights[:, np.newaxis]
    found = np.linalg.lstsq(system, np.array(volumes) * weights, rcond=None)[0]
    return np.asarray(found, dtype=np.float64).reshape(3, 3)


def coefficients_module() -> str:
    """The text of `brineward.physics.density_coefficients`."""
    lines = [
        '"""Coefficients of the density surface; written by `brineward.fitting.density`."""',
        "",
        f"ANOMALY_MASS_FRACTION = {ANOMALY_MASS_FRACTION}",
        '"""How much salt breaks the structure of cold water; chosen, not fitted."""',
        "",
        "SURFACE = (",
        *(f"    ({', '.join(f'{value:.12g}' for value in row)})," for row in fit_surface()),
        ")",
        '"""v0, v1, v2 in L/kg; columns are powers of t/100 degC."""',
    ]
    return "\n".join(lines) + "\n"


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
