"""Coefficients of the conductivity curve.

Written by `python -m brineward.fitting.conductivity --write`; not by hand.
"""

LEVEL = (
    5.374,
    -2.913,
    12.521009052449212,
    -38.19968572989901,
    57.002968382408994,
    -39.66047029503964,
)
STEEPNESS = (
    394.9176353062842,
    -167.89817398490902,
    299.30059781036783,
)
OFFSET_K = 112.83723459909339
