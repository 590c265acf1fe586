"""Coefficients of the conductivity curve.

Written by `python -m brineward.fitting.conductivity --write`; not by hand.
"""

LEVEL = (
    5.374,
    -2.913,
    12.52101432,
    -38.19973121,
    57.00309516,
    -39.66058371,
)
STEEPNESS = (
    394.9174658,
    -167.8979037,
    299.3001284,
)
OFFSET_K = 112.8372091
