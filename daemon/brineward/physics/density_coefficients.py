"""Coefficients of the density surface; written by `brineward.fitting.density`."""

ANOMALY_MASS_FRACTION = 0.08
"""How much salt breaks the structure of cold water; chosen, not fitted."""

SURFACE = (
    (0.99424213146, 0.00619028461262, 0.0538546720444),
    (-0.693435405868, 0.222438189461, -0.358866465993),
    (0.210822496473, -0.466156698342, 0.750316716211),
)
"""v0, v1, v2 in L/kg; columns are powers of t/100 degC."""
