"""Solving with the triangle of a symmetric matrix, for a handful of unknowns, without numpy."""

from collections.abc import Sequence
from math import sqrt
from operator import mul

Rows = list[list[float]]
"""A lower triangle, row by row."""


def cholesky(rows: Sequence[Sequence[float]]) -> Rows:
    """The triangle whose product with its own transpose is a symmetric matrix's lower half.

    Raises: ValueError where the matrix is not positive definite.
    """
    found: Rows = []
    for row in rows:
        solved = forward(found, row[:-1])
        found.append([*solved, sqrt(row[-1] - sum(map(mul, solved, solved)))])
    return found


def forward(rows: Rows, right: Sequence[float]) -> list[float]:
    """Solve the triangle for a right side."""
    found: list[float] = []
    for row, value in zip(rows, right, strict=True):
        # Of the row only what has been found counts: the shorter of the two ends it.
        found.append((value - sum(map(mul, row, found))) / row[-1])
    return found


def backward(rows: Rows, right: Sequence[float]) -> list[float]:
    """Solve the transposed triangle for a right side."""
    found = [0.0] * len(rows)
    for i in range(len(rows) - 1, -1, -1):
        rest = right[i] - sum(rows[j][i] * found[j] for j in range(i + 1, len(rows)))
        found[i] = rest / rows[i][i]
    return found
