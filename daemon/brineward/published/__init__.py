"""Published values of sodium chloride brine, each with its source, and the one way to read them.

The tables are CSV files beside this module; `sources.csv` says what each source id stands for and
how its values came to us. Nothing on the live path reads them: `brineward.fitting` fits the
coefficients of `brineward.physics` to them, and the tests judge the physics by them.
"""

from brineward.published.tables import (
    ConductivityCoefficientRow,
    ConductivityRow,
    DensityRow,
    FreezingRow,
    HydrometerRow,
    SolubilityRow,
    Source,
    conductivity_coefficient_rows,
    conductivity_rows,
    density_rows,
    freezing_rows,
    hydrometer_rows,
    solubility_rows,
    sources,
)

__all__ = [
    "ConductivityCoefficientRow",
    "ConductivityRow",
    "DensityRow",
    "FreezingRow",
    "HydrometerRow",
    "SolubilityRow",
    "Source",
    "conductivity_coefficient_rows",
    "conductivity_rows",
    "density_rows",
    "freezing_rows",
    "hydrometer_rows",
    "solubility_rows",
    "sources",
]
