"""Least squares with a flow that wanders, against numpy and against its own definition."""

import math

import numpy as np
import pytest
from hypothesis import given
from hypothesis import strategies as st

from brineward.plant.inflow_fit import Unknown, Wander, cholesky, forward
from brineward.readings.instants import SECOND

TIMES = (0, 20, 55, 90, 130, 170, 240)


def scatter(wanders: float, sigma: float, since: int) -> np.ndarray:
    """How the volumes scatter together: the integral of a Wiener process, summed up in steps of a
    tenth of a second from what the process is, and each volume's own noise."""
    step = 0.1
    grid = np.arange(since, TIMES[-1], step)
    # What a kick of the flow at each moment has brought by each time.
    brought = np.array([[max(0.0, time - kick) for kick in grid] for time in TIMES])
    return wanders * step * brought @ brought.T + sigma**2 * np.eye(len(TIMES))


@given(
    wanders=st.sampled_from([0.0, 1e-11, 1e-9]),
    sigma=st.floats(min_value=0.002, max_value=0.05),
    since=st.sampled_from([0, 30, 60]),
    noise=st.lists(st.floats(min_value=-0.05, max_value=0.05), min_size=7, max_size=7),
)
def test_the_unknowns_are_those_of_generalized_least_squares(
    wanders: float, sigma: float, since: int, noise: list[float]
) -> None:
    """Values and covariances as numpy has them from a covariance that was computed otherwise."""
    height, slope = [1.0] * len(TIMES), [float(time) for time in TIMES]
    volumes = [0.5 - 0.003 * time + off for time, off in zip(TIMES, noise, strict=True)]
    unknowns = [Unknown(height, 0.0, math.inf), Unknown(slope, -0.0035, 0.0004)]
    wander = Wander([time * SECOND for time in TIMES], sigma, since * SECOND, wanders)
    found = wander.solve(volumes, unknowns)
    inverse = np.linalg.inv(scatter(wanders, sigma, since))
    columns = np.array([height, slope]).T
    normal = columns.T @ inverse @ columns + np.diag([0.0, 0.0004**-2])
    right = columns.T @ inverse @ np.array(volumes) + np.array([0.0, -0.0035 * 0.0004**-2])
    assert found.values == pytest.approx(np.linalg.solve(normal, right), rel=2e-3, abs=1e-6)
    assert np.array(found.covariance) == pytest.approx(np.linalg.inv(normal), rel=0.02)


def test_a_flow_that_wanders_is_told_from_one_that_does_not() -> None:
    """A slow bend is explained better, and so weighs more, where the flow may wander."""
    bent = [1e-5 * time * time for time in TIMES]
    height = Unknown([1.0] * len(TIMES), 0.0, math.inf)
    slope = Unknown([float(time) for time in TIMES], 0.0, 0.01)
    times = [time * SECOND for time in TIMES]
    steady, wandering = (
        Wander(times, 0.005, 0, by).solve(bent, [height, slope]).weight for by in (0.0, 1e-9)
    )
    straight = [1e-3 * time for time in TIMES]
    better, worse = (
        Wander(times, 0.005, 0, by).solve(straight, [height, slope]).weight for by in (0.0, 1e-9)
    )
    assert wandering > steady + 3
    assert better > worse


def test_a_root_gives_its_matrix_back() -> None:
    """The triangular root and what it solves."""
    matrix = [[4.0], [2.0, 5.0], [0.5, 1.0, 3.0]]
    root = cholesky(matrix)
    whole = np.zeros((3, 3))
    for i, row in enumerate(root):
        whole[i, : i + 1] = row
    assert np.tril(whole @ whole.T) == pytest.approx(
        np.array([[4.0, 0, 0], [2.0, 5.0, 0], [0.5, 1.0, 3.0]])
    )
    assert forward(root, [1.0, 2.0, 3.0]) == pytest.approx(np.linalg.solve(whole, [1.0, 2.0, 3.0]))
