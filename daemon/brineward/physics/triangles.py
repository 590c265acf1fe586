"""Solving with the triangle of a symmetric matrix, for a handful of unknowns, without numpy."""

from collections.abc import Sequence
from math import sqrt

Rows = list[list[float]]
"""A lower triangle, row by row."""


def cholesky(rows: Sequence[Sequence[float]]) -> Rows:
    """The triangle whose product with its own transpose is a symmetric matrix's lower half.

    Raises: ValueError where the matrix is not positive definite.
    """
    found: Rows = []
    for row in rows:
        solved = forward(found, row[:-1])
        found.append([*solved, sqrt(row[-1] - sum(x * x for x in solved))])
    return found


def forward(rows: Rows, right: Sequence[float]) -> list[float]:
    """Solve the triangle for a right side."""
    found: list[float] = []
    for row, value in zip(rows, right, strict=True):
        rest = value - sum(a * x for a, x in zip(row, found, strict=False))
        found.append(rest / row[-1])
    return found


def backward(rows: Rows, right: Sequence[float]) -> list[float]:
    """Solve the transposed triangle for a right side."""
    found = [0.0] * len(rows)
    for i in range(len(rows) - 1, -1, -1):
        rest = right[i] - sum(rows[j][i] * found[j] for j in range(i + 1, len(rows)))
        found[i] = rest / rows[i][i]
    return found
