"""A quantity's course: its line against numpy and exact fractions, medians, lows, movement."""

import json
import math
from collections.abc import Iterable
from fractions import Fraction
from statistics import median

import numpy as np
import pytest
from hypothesis import example, given
from hypothesis import strategies as st

from brineward.plant.course import MOST_POINTS, SLOPE_STEP, Course, Movement, UsualLow
from brineward.readings.instants import HOUR, SECOND, Instant
from depots import START

POINTS = st.lists(st.tuples(st.integers(1, 40), st.floats(-5.0, 5.0)), min_size=12, max_size=60)
PACES = st.lists(
    st.tuples(st.integers(1, 90_000), st.floats(-200.0, 200.0)), min_size=1, max_size=80
)
"""Milliseconds after the one before, and a value."""


def course(points: list[tuple[int, float]], window: float = 180.0, noise: float = 0.0) -> Course:
    """A course through points, each so many seconds after the one before."""
    found = Course(window_seconds=window, standard_uncertainty=noise)
    time = START
    for gap, value in points:
        time += gap * SECOND
        found.add(time, value)
    return found


def shown(one: Course) -> tuple[float | None, ...]:
    """All that a course says."""
    return one.level, one.slope, one.slope_uncertainty, one.scatter, one.noise.variance


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


def exact_line(points: Iterable[tuple[Instant, float]]) -> tuple[Fraction, Fraction, Fraction]:
    """Least squares from scratch: value at the last point, slope a second, residuals' squares."""
    rows = [(Fraction(time, SECOND), Fraction(round(value * 1e9), 10**9)) for time, value in points]
    n, last = len(rows), rows[-1][0]
    mean_t = sum((t for t, _ in rows), Fraction()) / n
    mean_v = sum((v for _, v in rows), Fraction()) / n
    spread = sum(((t - mean_t) ** 2 for t, _ in rows), Fraction())
    slope = sum(((t - mean_t) * (v - mean_v) for t, v in rows), Fraction()) / spread
    squares = sum(((v - mean_v - slope * (t - mean_t)) ** 2 for t, v in rows), Fraction())
    return mean_v + slope * (last - mean_t), slope, squares


@given(PACES, st.floats(1.0, 2000.0), st.integers(0, 80))
def test_running_sums_are_least_squares_from_scratch(
    points: list[tuple[int, float]], window: float, cut: int
) -> None:
    """At any window and pace, and after being read back: to the rounding that is declared."""
    found = Course(window_seconds=window, standard_uncertainty=0.01)
    kept: list[tuple[Instant, float]] = []
    time, gap = START, int(window * SECOND) // MOST_POINTS
    for place, (pause, value) in enumerate(points):
        time += pause
        if not kept or time - kept[-1][0] >= gap:
            kept = [one for one in kept if one[0] >= time - int(window * SECOND)]
            kept.append((time, value))
        if place == cut:
            found = read_back(found, window)
        found.add(time, value)
    if len(kept) < 4 or kept[-1][0] - kept[0][0] < int(window * SECOND) // 2:
        assert found.slope is None
        return
    level, slope, squares = exact_line(kept)
    assert found.level == pytest.approx(float(level), abs=1e-9, rel=1e-12)
    assert found.slope == pytest.approx(float(slope), abs=SLOPE_STEP)
    assert found.scatter == pytest.approx(math.sqrt(squares / (len(kept) - 2)), abs=1e-9)


def read_back(one: Course, window: float) -> Course:
    """Another course, from what this one wrote."""
    other = Course(window_seconds=window, standard_uncertainty=0.01)
    other.restore(json.loads(json.dumps(one.snapshot())))
    return other


ON_THE_EDGE = [
    (2000, 100.703125), (3000, 0.25), (2000, 0.671875), (2000, 0.875), (3000, 0.5),
    (2000, 100.578125), (3000, 0.625), (1000, 0.40625), (1000, 0.46875), (1000, 0.6875),
    (2000, 0.0), (2000, 0.265625),
]  # fmt: skip
"""A line that ends on half a billionth: floats would round it by where it began."""


@given(PACES, st.floats(1.0, 2000.0), st.integers(0, 80))
@example(ON_THE_EDGE, 8.0, 10)
@example([*ON_THE_EDGE, (90_000, 1.0), (1000, 1.0)], 8.0, 13)
def test_read_back_it_says_the_same_to_the_last_bit(
    points: list[tuple[int, float]], window: float, cut: int
) -> None:
    """Whatever came before the window has left no trace in what it says."""
    one = Course(window_seconds=window, standard_uncertainty=0.01)
    other = one
    time = START
    for place, (pause, value) in enumerate(points):
        time += pause
        if place == cut:
            other = read_back(one, window)
            assert shown(other) == shown(one)
        one.add(time, value)
        if place >= cut:
            other.add(time, value)
            assert shown(other) == shown(one)
    assert other.snapshot() == one.snapshot()


def test_one_that_is_emptied_has_forgotten_all() -> None:
    """After the clock was set: no slope is left of times that mean nothing any more."""
    found = course(ON_THE_EDGE, window=8.0)
    blank = Course(window_seconds=8.0, standard_uncertainty=0.0)
    found.restore(blank.snapshot())
    assert shown(found) == shown(blank)


def test_a_month_of_readings_leaves_no_rounding_behind() -> None:
    """Sums that are kept up to date do not drift: after 100,000 readings they are still exact."""
    found = Course(window_seconds=180.0, standard_uncertainty=0.0)
    for place in range(100_000):
        found.add(START + place * 31 * SECOND, math.sin(place) + 1000.0)
    last = range(99_994, 100_000)
    level, slope, _ = exact_line((place * 31 * SECOND, math.sin(place) + 1000.0) for place in last)
    assert found.level == pytest.approx(float(level), abs=1e-9)
    assert found.slope == pytest.approx(float(slope), abs=SLOPE_STEP)


def test_a_courses_uncertainty_is_the_sensors_own_at_least() -> None:
    """Readings that happen to lie on a line are not better than the sensor."""
    found = course([(10, 0.01 * place) for place in range(30)], noise=0.003)
    spread = sum((10.0 * place - 90.0) ** 2 for place in range(19))
    assert found.slope_uncertainty == pytest.approx(0.003 / math.sqrt(spread))


@given(POINTS, st.floats(0.0, 400.0))
def test_the_middle_is_the_median_of_the_span(points: list[tuple[int, float]], span: float) -> None:
    """Of the readings of the span, of three at least; one wild reading is none."""
    gap = 100_000 // MOST_POINTS
    points = [(gap + pause, value) for pause, value in points]
    found = course(points, window=100_000.0)
    times = np.cumsum([pause for pause, _ in points])
    span += gap
    latest = [
        value for time, (_, value) in zip(times, points, strict=True) if time >= times[-1] - span
    ]
    latest = latest if len(latest) >= 3 else [value for _, value in points[-3:]]
    assert found.middle(span) == (median(latest), len(latest))


def test_a_course_with_a_gap_takes_no_more_than_one_in_it() -> None:
    """A minute's gap keeps one reading a minute of a sensor that speaks each second."""
    found = Course(window_seconds=1800.0, standard_uncertainty=0.1, gap_seconds=60.0)
    for second in range(3600):
        found.add(START + second * SECOND, 1.0)
    assert found.middle(1e6)[1] == 31


@pytest.mark.parametrize("window", [20.0, 180.0, 900.0])
def test_however_fast_a_sensor_reports_a_course_is_small(window: float) -> None:
    """Twelve packs of 2,700 readings a millisecond apart, a minute between them."""
    found = Course(window_seconds=window, standard_uncertainty=0.003)
    for pack in range(12):
        for place in range(2700):
            found.add(START + pack * 60 * SECOND + place, 1.0)
            assert found.middle(1e6)[1] <= MOST_POINTS + 1


def test_the_usual_low_is_the_weeks_before_the_last_hour() -> None:
    """A fall within the last two hours is not usual; one of eight days ago is forgotten."""
    low = UsualLow()
    start = START - START % HOUR
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
    directions = []
    for slope, uncertainty in (
        (9e-5, 1e-5),
        (2e-4, 1e-4),
        (2e-4, 1e-5),
        (6e-5, 1e-5),
        (4e-5, 1e-5),
        (-2e-4, 1e-5),
    ):
        line.slope, line.slope_uncertainty = slope, uncertainty
        movement.update(line, START)
        directions.append(movement.direction)
    assert directions == [0, 0, 1, 1, 0, -1]
