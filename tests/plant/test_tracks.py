"""What is remembered of sensors, against numpy: lines, medians, noise, lows, movement."""

import math
import random
from statistics import median

import numpy as np
import pytest
from brineward.plant.tracks import Course, Movement, SensorTrack, UsualLow
from hypothesis import given
from hypothesis import strategies as st

from brineward.plant.noise import Noise
from brineward.plant.pump_run import PumpRun
from brineward.readings.instants import HOUR, SECOND

BEGIN = 1_768_413_600_000
POINTS = st.lists(st.tuples(st.integers(1, 40), st.floats(-5.0, 5.0)), min_size=12, max_size=60)


def course(points: list[tuple[int, float]], window: float = 180.0, noise: float = 0.0) -> Course:
    """A course through points, each so many seconds after the one before."""
    found = Course(window_seconds=window, standard_uncertainty=noise)
    time = BEGIN
    for gap, value in points:
        time += gap * SECOND
        found.add(time, value)
    return found


@given(POINTS)
def test_a_course_is_numpys_line_through_the_window(points: list[tuple[int, float]]) -> None:
    """Slope, end and the slope's uncertainty are those of numpy.polyfit over the last 3 minutes."""
    found = course(points)
    times = np.cumsum([gap for gap, _ in points]).astype(float)
    values = np.array([value for _, value in points])
    inside = times >= times[-1] - 180.0
    t, v = times[inside] - times[-1], values[inside]
    if len(t) < 4 or -t[0] < 90.0:
        assert found.slope is None
        assert found.slope_uncertainty == math.inf
        return
    (slope, end), covariance = np.polyfit(t, v, 1, cov=True)
    assert found.slope == pytest.approx(slope, abs=1e-8)
    assert found.level == pytest.approx(end, abs=1e-7)
    assert found.slope_uncertainty == pytest.approx(math.sqrt(covariance[0, 0]), abs=1e-7)
    assert found.scatter == pytest.approx(
        math.sqrt(((v - slope * t - end) ** 2).sum() / (len(t) - 2)), abs=1e-7
    )


def test_a_courses_uncertainty_is_the_sensors_own_at_least() -> None:
    """Readings that happen to lie on a line are not better than the sensor."""
    found = course([(10, 0.01 * place) for place in range(30)], noise=0.003)
    spread = sum((10.0 * place - 90.0) ** 2 for place in range(19))
    assert found.slope_uncertainty == pytest.approx(0.003 / math.sqrt(spread))


@given(POINTS, st.floats(0.0, 400.0))
def test_the_middle_is_the_median_of_the_span(points: list[tuple[int, float]], span: float) -> None:
    """Of the readings of the span, of three at least; one wild reading is none."""
    found = course(points, window=100_000.0)
    times = np.cumsum([gap for gap, _ in points])
    latest = [
        value for time, (_, value) in zip(times, points, strict=True) if time >= times[-1] - span
    ]
    latest = latest if len(latest) >= 3 else [value for _, value in points[-3:]]
    assert found.middle(span) == (median(latest), len(latest))


def test_a_course_with_a_gap_takes_no_more_than_one_in_it() -> None:
    """A minute's gap keeps one reading a minute of a sensor that speaks each second."""
    found = Course(window_seconds=1800.0, standard_uncertainty=0.1, gap_seconds=60.0)
    for second in range(3600):
        found.add(BEGIN + second * SECOND, 1.0)
    assert found.middle(1e6)[1] == 31


@given(POINTS)
def test_tracks_go_on_from_what_was_written_down(points: list[tuple[int, float]]) -> None:
    """Frozen in the middle and thawed, a course and a run end where the others do."""
    half = len(points) // 2
    one, other = course(points[:half]), Course(window_seconds=180.0, standard_uncertainty=0.0)
    other.thaw(one.freeze())
    time = BEGIN + sum(gap for gap, _ in points[:half]) * SECOND
    for gap, value in points[half:]:
        time += gap * SECOND
        one.add(time, value)
        other.add(time, value)
        assert (one.slope, one.level, one.scatter) == (other.slope, other.level, other.scatter)
    assert one.freeze() == other.freeze()


@pytest.mark.parametrize("true", [0.003, 0.006, 0.02])
@pytest.mark.parametrize("trend", [0.0, 1e-3])
def test_noise_is_learned_whatever_the_trend(true: float, trend: float) -> None:
    """After some hundred readings within a third of the truth, and never under what is declared."""
    draw = random.Random(7)
    noise = Noise(0.003)
    for place in range(600):
        noise.add(trend * place * 10 + draw.gauss(0.0, true))
    assert math.sqrt(noise.variance) == pytest.approx(true, rel=0.34)
    assert noise.variance >= 0.003**2


def test_one_spike_is_no_noise() -> None:
    """A wild reading counts as four standard uncertainties at most."""
    noise = Noise(0.003)
    for value in [1.0] * 50 + [500.0] + [1.0] * 50:
        noise.add(value)
    assert math.sqrt(noise.variance) < 0.005


def run_of(before: list[float], during: list[float]) -> PumpRun:
    """A pump that starts between two series of levels, ten seconds apart."""
    run = PumpRun(noise=Noise(0.003), every_seconds=10.0, expected_m_per_s=6e-4)
    time = BEGIN
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
    now = BEGIN + 200 * SECOND
    run.stop(now)
    assert run.drop is None
    for place in range(1, 8):
        run.add(now + place * 10 * SECOND, 1.45)
    run.start(now + 75 * SECOND, seen=True)
    for place in range(8, 12):
        run.add(now + place * 10 * SECOND, 1.45)
    assert run.drop == pytest.approx(0.0, abs=1e-8)


@given(st.lists(st.booleans(), max_size=60))
def test_implausible_is_three_running_or_half_of_sixteen(marks: list[bool]) -> None:
    """The bits say what counting says."""
    track = SensorTrack(60_000)
    for place, bad in enumerate(marks):
        if bad:
            track.bad("nonsense", BEGIN + place * SECOND)
        else:
            track.good(1.0, BEGIN + place * SECOND)
    three = len(marks) >= 3 and all(marks[-3:])
    assert track.implausible == (three or sum(marks[-16:]) >= 8)


def test_a_value_is_fresh_until_its_silence_is_over() -> None:
    """To the millisecond; a bad value does not make the last good one fresh again."""
    track = SensorTrack(60_000)
    assert not track.fresh(BEGIN)
    track.good(0.0, BEGIN)
    track.bad("nonsense", BEGIN + 50_000)
    assert track.fresh(BEGIN + 60_000)
    assert not track.fresh(BEGIN + 60_001)


def test_the_usual_low_is_the_weeks_before_the_last_hour() -> None:
    """A fall within the last two hours is not usual; one of eight days ago is forgotten."""
    low = UsualLow()
    start = BEGIN - BEGIN % HOUR
    low.add(start, -9.0)
    assert low.before(start) is None
    for hour in range(1, 8 * 24):
        low.add(start + hour * HOUR, 5.0 + hour % 3)
    now = start + 8 * 24 * HOUR
    low.add(now - HOUR, 1.0)
    low.add(now, 0.5)
    assert low.before(now) == 5.0


def test_a_level_moves_beyond_three_sigma_and_is_still_under_half_of_that() -> None:
    """Noise does not start a movement; the end of one is not missed."""
    movement = Movement(1e-4)
    line = Course(window_seconds=180.0, standard_uncertainty=0.001)
    told = []
    for slope, uncertainty in (
        (9e-5, 1e-5),
        (2e-4, 1e-4),
        (2e-4, 1e-5),
        (6e-5, 1e-5),
        (4e-5, 1e-5),
        (-2e-4, 1e-5),
    ):
        line.slope, line.slope_uncertainty = slope, uncertainty
        movement.update(line, BEGIN)
        told.append(movement.direction)
    assert told == [0, 0, 1, 1, 0, -1]


def test_a_valve_shut_during_a_run_shows_within_a_minute() -> None:
    """Forty seconds after the level stopped falling, the fall is known to be over: a line through
    the last minute alone would still be half of it.
    """
    falling = [1.5 - 6e-4 * (5 + 10 * place) for place in range(12)]
    run = run_of([1.5] * 9, [*falling, *([falling[-1]] * 4)])
    assert run.sure
    assert run.drop == pytest.approx(0.0, abs=0.12 * 6e-4)
