"""Least squares through a tank's volumes where something unmeasured flows in as well. Pure.

What flows in beside what is known by its form (salt that is tipped in and drives brine over the
weir, a float that opens slowly) is a flow that wanders: a Wiener process from some moment on. What
it has brought is that process's integral, whose covariance is known (the covariance of a cubic
spline: Rasmussen and Williams, Gaussian Processes for Machine Learning, 2006, section 6.3, from
memory; a test computes it anew). Unknowns are found by generalized least squares with their priors
as further observations.
"""

import math
from collections.abc import Sequence
from operator import mul
from typing import NamedTuple

from brineward.readings.instants import SECOND, Instant

Column = Sequence[float]


class Unknown(NamedTuple):
    """One unknown: what a unit of it adds to each volume, and what is known of it beforehand."""

    column: Column
    expected: float
    standard_uncertainty: float
    """Infinite: nothing is known."""


class Solved(NamedTuple):
    """The unknowns as they were found, in their order."""

    weight: float
    """Logarithm of the marginal likelihood, but for what all fits to the same volumes share and
    the priors' own part."""
    values: list[float]
    covariance: list[list[float]]
    misfit: float
    """Sum of squares over their variances."""


class Wander:
    """How volumes scatter together, where the flow in wanders."""

    def __init__(
        self, times: Sequence[Instant], sigma_m3: float, since: Instant, m6_per_s3: float
    ) -> None:
        """`sigma_m3` above 0 of one volume; the flow's variance grows by `m6_per_s3` (0 or more)
        a second from `since` on."""
        gone = [max(0, time - since) / SECOND for time in times]
        rows: list[list[float]] = []
        for i, late in enumerate(gone):
            row = []
            for j in range(i + 1):
                early = min(gone[j], late)
                later = max(gone[j], late)
                value = m6_per_s3 * early * early * (3.0 * later - early) / 6.0
                row.append(value + sigma_m3 * sigma_m3 if i == j else value)
            rows.append(row)
        self._root = cholesky(rows)
        self._log_root = sum(math.log(row[-1]) for row in self._root)

    def whitened(self, column: Column) -> list[float]:
        """The column in units in which volumes scatter independently, each by 1."""
        return forward(self._root, column)

    def solve(self, volumes: Column, unknowns: Sequence[Unknown]) -> Solved:
        """Least squares; as many volumes as were given times, in m3."""
        columns = [self.whitened(one.column) for one in unknowns]
        return self.solve_white(Shared.of(self.whitened(volumes), columns), unknowns)

    def solve_white(
        self, shared: "Shared", unknowns: Sequence[Unknown], own: Column | None = None
    ) -> Solved:
        """The same, where everything is whitened already: the columns that are shared, and one of
        its own for the last unknown where it has one."""
        count = len(unknowns)
        rows, beside = [list(row) for row in shared.normal], list(shared.right)
        if own is not None:
            rows.append([_dot(own, column) for column in (*shared.columns, own)])
            beside.append(_dot(own, shared.volumes))
        right: list[float] = []
        squares = shared.squares
        for row, product, one in zip(rows, beside, unknowns, strict=True):
            known = precision(one.standard_uncertainty)
            row[-1] += known
            right.append(product + known * one.expected)
            squares += known * one.expected * one.expected
        root = cholesky(rows)
        half = forward(root, right)
        misfit = squares - _dot(half, half)
        inverse = [forward(root, [float(i == j) for j in range(count)]) for i in range(count)]
        covariance = [[_dot(a, b) for b in inverse] for a in inverse]
        weight = -misfit / 2 - self._log_root - sum(math.log(row[-1]) for row in root)
        return Solved(weight, [_dot(row, right) for row in covariance], covariance, misfit)


class Shared(NamedTuple):
    """Whitened volumes and columns that several fits share, and their products: made once."""

    volumes: Column
    columns: Sequence[Column]
    normal: Sequence[Sequence[float]]
    """Of the columns with one another: the lower half."""
    right: Sequence[float]
    """Of the columns with the volumes."""
    squares: float
    """Of the volumes with themselves."""

    @staticmethod
    def of(volumes: Column, columns: Sequence[Column]) -> "Shared":
        """All of them, of equally many values each."""
        normal = [[_dot(one, columns[j]) for j in range(i + 1)] for i, one in enumerate(columns)]
        right = [_dot(one, volumes) for one in columns]
        return Shared(volumes, columns, normal, right, _dot(volumes, volumes))


def precision(standard_uncertainty: float) -> float:
    """One over its square; 0 where nothing is known."""
    return 0.0 if math.isinf(standard_uncertainty) else standard_uncertainty**-2


def cholesky(rows: Sequence[Sequence[float]]) -> list[list[float]]:
    """The lower triangular root of a symmetric positive matrix, given by its lower half."""
    root: list[list[float]] = []
    for i, given in enumerate(rows):
        row: list[float] = []
        for j in range(i):
            other = root[j]
            row.append((given[j] - _dot(row, other[:j])) / other[j])
        row.append(math.sqrt(max(given[i] - _dot(row, row), 1e-300)))
        root.append(row)
    return root


def forward(root: Sequence[Sequence[float]], right: Column) -> list[float]:
    """Solve `root x = right`, the root lower triangular."""
    found: list[float] = []
    for row, value in zip(root, right, strict=True):
        found.append((value - _dot(row[:-1], found)) / row[-1])
    return found


def _dot(one: Column, other: Column) -> float:
    total: float = sum(map(mul, one, other))
    return total
