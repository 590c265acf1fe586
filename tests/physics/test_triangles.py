"""Cholesky's triangle and its two solutions, against numpy."""

import numpy as np
from hypothesis import given
from hypothesis import strategies as st

from brineward.physics.triangles import backward, cholesky, forward


@given(st.integers(1, 12), st.integers(0, 10_000))
def test_it_solves_what_numpy_solves(count: int, seed: int) -> None:
    """For random positive definite matrices, both substitutions give numpy's solution."""
    random = np.random.default_rng(seed)
    half = random.standard_normal((count, count))
    matrix = half @ half.T + count * np.eye(count)
    right = random.standard_normal(count)
    rows = cholesky([list(matrix[i, : i + 1]) for i in range(count)])
    found = backward(rows, forward(rows, list(right)))
    np.testing.assert_allclose(found, np.linalg.solve(matrix, right), rtol=1e-9, atol=1e-12)
