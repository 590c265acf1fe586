"""How a level answers to its pump: the fall against numpy's weighted lines."""

import numpy as np
import pytest
from hypothesis import given
from hypothesis import strategies as st

from brineward.plant.noise import Noise
from brineward.plant.pump_run import PumpRun
from brineward.readings.instants import SECOND
from depots import START


def run_of(before: list[float], during: list[float]) -> PumpRun:
    """A pump that starts between two series of levels, ten seconds apart."""
    run = PumpRun(noise=Noise(0.003), every_seconds=10.0, expected_m_per_s=lambda: 6e-4)
    time = START
    for level in before:
        time += 10 * SECOND
        run.add(time, level)
    time += 5 * SECOND
    run.start(time, seen=True)
    time -= 5 * SECOND
    for level in during:
        time += 10 * SECOND
        run.add(time, level)
    return run


@given(
    st.lists(st.floats(1.4, 1.6), min_size=4, max_size=9),
    st.lists(st.floats(1.3, 1.6), min_size=3, max_size=5),
)
def test_a_run_is_the_weighted_line_with_the_level_before(
    before: list[float], during: list[float]
) -> None:
    """The fall is that of numpy's weighted least squares with the level before as one more row."""
    run = run_of(before, during)
    times = np.array([10.0 * (place + 1) for place in range(len(before))])
    start = 10.0 * len(before) + 5.0
    design = np.vstack([times - start, np.ones_like(times)]).T
    spread = np.linalg.inv(design.T @ design)
    level_before = (spread @ design.T @ np.array(before))[1]
    weight = 1.0 / spread[1, 1]
    t = np.array([0.0, *(5.0 + 10.0 * place for place in range(len(during)))])
    v = np.array([level_before, *during])
    slope = np.polyfit(t, v, 1, w=np.sqrt(np.array([weight, *np.ones(len(during))])))[0]
    assert run.drop == pytest.approx(-slope, abs=1e-8)


def test_what_was_before_a_stop_is_not_before_the_next_start() -> None:
    """The level that fell while the pump ran is no part of the line before its next run."""
    run = run_of([1.5] * 9, [1.5 - 6e-4 * (5 + 10 * place) for place in range(9)])
    assert run.drop == pytest.approx(6e-4, rel=1e-3)
    now = START + 200 * SECOND
    run.stop(now)
    assert run.drop is None
    for place in range(1, 8):
        run.add(now + place * 10 * SECOND, 1.45)
    run.start(now + 75 * SECOND, seen=True)
    for place in range(8, 12):
        run.add(now + place * 10 * SECOND, 1.45)
    assert run.drop == pytest.approx(0.0, abs=1e-8)


def test_a_valve_shut_during_a_run_shows_within_a_minute() -> None:
    """Forty seconds after the level stopped falling that is known: by a line through the last
    minute alone it would still fall half as fast.
    """
    falling = [1.5 - 6e-4 * (5 + 10 * place) for place in range(12)]
    run = run_of([1.5] * 9, [*falling, *([falling[-1]] * 4)])
    assert run.sure
    assert run.drop == pytest.approx(0.0, abs=0.12 * 6e-4)


def test_however_fast_a_level_reports_a_run_is_small() -> None:
    """A hundred levels a second through a run of ten minutes, and through the wait before it."""
    run = PumpRun(noise=Noise(0.003), every_seconds=0.01, expected_m_per_s=lambda: 6e-4)
    for place in range(6_000):
        run.add(START + place * 10, 1.5)
    run.start(START + 60 * SECOND, seen=True)
    for place in range(6_001, 66_000):
        run.add(START + place * 10, 1.5)
    _, _, _, points, *_ = run.snapshot()
    assert len(points) <= 513
