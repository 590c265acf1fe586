"""Calibration by tests: the interval shrinks, widens honestly, and slips are told from steps."""

import json
import math

import numpy as np
import pytest
from hypothesis import given
from hypothesis import strategies as st

from brineward.physics.calibrated import calibrated_word
from brineward.physics.calibration import Calibration
from brineward.physics.calibration_prior import (
    COLD_PER_K,
    DAY_SECONDS,
    IMPURITY,
    NEVER,
    Change,
    Sizes,
    covariance,
    point,
)
from brineward.physics.conductivity import conductivity, slope_in_temperature
from brineward.physics.estimate import MOST_KEPT
from brineward.physics.model_uncertainty import (
    REPEATED_LEVEL,
    model_parts,
    model_standard_uncertainty,
)
from brineward.physics.probe_test import ProbeTest, common_error, probe_test
from brineward.physics.refusals import NotBrine

SIZES = Sizes(0.01, 0.3)
BRINE = 0.233
TEST_OFF = 0.0013
"""Standard uncertainty of a test: one mark of a hydrometer, in mass fraction."""


def marked(day: float, off: float, *, temperature_c: float = 10.0, strength: float = BRINE):
    """A test on a day, of a probe that reads `off` (relative) of the true conductivity."""
    true = conductivity(strength, temperature_c)
    return probe_test(
        strength,
        TEST_OFF,
        seconds=day * DAY_SECONDS,
        conductivity_s_per_m=true * (1.0 + off),
        temperature_c=temperature_c,
        conductivity_standard_uncertainty=0.01 * true,
        temperature_standard_uncertainty=0.3,
    )


def of(*tests: ProbeTest) -> Calibration:
    """A calibration that has taken these tests."""
    found = Calibration(SIZES)
    for one in tests:
        found.observe(one)
    return found


def at(found: Calibration, day: float, temperature_c: float = 10.0) -> tuple[float, float]:
    """The factor's logarithm and uncertainty for brine at the usual strength."""
    factor = found.factor_at(day * DAY_SECONDS, temperature_c, BRINE)
    return factor.log_factor, factor.standard_uncertainty


@pytest.mark.parametrize("temperature_c", [-15.0, 0.0, 10.0, 25.0])
def test_before_any_test_it_is_the_data_sheet_and_the_curve(temperature_c: float) -> None:
    """The prior is the uncalibrated budget: probe, thermometer, curve, other salts."""
    thermal = slope_in_temperature(BRINE, temperature_c) * SIZES.thermometer_k
    model = model_standard_uncertainty(BRINE, temperature_c)
    cold = COLD_PER_K * min(temperature_c, 0.0)
    expected = math.hypot(0.01, thermal, model, REPEATED_LEVEL, IMPURITY, cold)
    assert at(of(), 0.0, temperature_c) == (0.0, pytest.approx(expected, rel=1e-9))


def test_the_parts_of_the_curves_error_are_its_whole_uncertainty() -> None:
    """Level, gap and far, squared and summed, are what `salinity` states for the model."""
    for strength, temperature_c in ((0.02, 5.0), (0.15, -5.0), (0.233, 33.0)):
        whole = math.sqrt(sum(part**2 for part in model_parts(strength, temperature_c)))
        assert whole == pytest.approx(model_standard_uncertainty(strength, temperature_c))


@given(st.integers(2, 14), st.integers(0, 10_000))
def test_the_prior_is_a_covariance(count: int, seed: int) -> None:
    """Wherever tests are made, no combination of the errors has a variance below 0."""
    random = np.random.default_rng(seed)
    changes = [NEVER, Change(0.0, "step"), Change(1e6, "cleaned"), Change(1e7, "step")]
    places = [
        point(
            float(random.uniform(0, 4e7)),
            float(random.uniform(-20, 35)),
            float(random.uniform(0.1, 0.26)),
            changes[int(random.integers(0, 4))],
        )
        for _ in range(count)
    ]
    matrix = np.array([[covariance(a, b, SIZES) for b in places] for a in places])
    assert np.linalg.eigvalsh(matrix).min() > -1e-15


def test_it_is_the_best_linear_estimate() -> None:
    """Mean and spread are numpy's solution of the whole system, tests' shared error included; the
    spread with what the last test may be off as a slip."""
    tests = [marked(0, -0.02), marked(9, -0.012, temperature_c=4.0), marked(20, -0.016)]
    found = of(*tests)
    places = [point(t.seconds, t.temperature_c, t.mass_fraction) for t in tests]
    there = point(30 * DAY_SECONDS, -2.0, BRINE)
    matrix = np.array([[covariance(a, b, SIZES) for b in places] for a in places])
    matrix += np.array([[common_error(a, b) for b in tests] for a in tests])
    np.fill_diagonal(
        matrix,
        [
            covariance(p, p, SIZES) + t.shared**2 + t.own**2
            for p, t in zip(places, tests, strict=True)
        ],
    )
    across = np.array([covariance(there, a, SIZES) for a in places])
    mean = across @ np.linalg.solve(matrix, [t.log_factor for t in tests])
    variance = covariance(there, there, SIZES) - across @ np.linalg.solve(matrix, across)
    assert at(found, 30, -2.0) == (
        pytest.approx(mean, rel=1e-9),
        pytest.approx(math.hypot(math.sqrt(variance), found.doubt()), rel=1e-9),
    )
    assert found.doubt() < 0.02 * math.sqrt(variance), "a test as the others are"


def test_a_test_takes_most_of_the_error_away() -> None:
    """A probe that reads 2 % low is made good, and known several times better than before."""
    before = at(of(), 0.0)[1]
    mean, spread = at(of(marked(0, -0.02)), 0.1)
    assert mean == pytest.approx(0.02, abs=0.002)
    assert spread < before / 3.0


def test_it_widens_as_days_pass_and_the_brine_cools_or_warms() -> None:
    """Each day and each kelvin away from the test adds to the uncertainty; none takes from it."""
    found = of(marked(0, -0.02))
    by_day = [at(found, day)[1] for day in (0, 1, 7, 30, 90, 365, 2000)]
    colder = [at(found, 0, 10.0 - k)[1] for k in (0, 1, 2, 5, 10, 20, 30)]
    warmer = [at(found, 0, 10.0 + k)[1] for k in (0, 1, 2, 5, 10, 20)]
    for course in (by_day, colder, warmer):
        assert course == sorted(course)
        assert course[-1] > 1.5 * course[0]


def test_many_tests_do_not_outdo_the_hydrometer() -> None:
    """What every test of one hydrometer has in common is still there after sixteen of them."""
    alike = of(*(marked(day / 10.0, -0.01) for day in range(MOST_KEPT)))
    shared = alike.kept[0].shared
    assert at(alike, 1.6)[1] > 0.9 * shared


@given(st.permutations(range(5)))
def test_the_order_of_entering_does_not_matter(order: list[int]) -> None:
    """Tests that agree, entered late or in any order, give the very same factor."""
    tests = [marked(7 * n, -0.01 - 0.001 * n, temperature_c=10.0 - n) for n in range(5)]
    assert of(*(tests[n] for n in order)).freeze() == of(*tests).freeze()


def test_one_odd_test_does_not_drag_the_factor() -> None:
    """A slip of 6 % leaves the factor where it was, and widens the interval past itself."""
    good = [marked(7 * n, -0.01) for n in range(3)]
    found, slipped = of(*good), of(*good)
    assert slipped.observe(marked(21, -0.07)) == "odd"
    mean, spread = at(found, 22)
    assert at(slipped, 22)[0] == pytest.approx(mean, abs=1e-12)
    assert at(slipped, 22)[1] > 2.0 * spread
    assert at(slipped, 22)[0] + 1.96 * at(slipped, 22)[1] > math.log(1.0 / 0.93)


def test_a_test_that_agrees_with_the_others_clears_a_slip() -> None:
    """After it, the odd one is forgotten, as if it had never been."""
    good = [marked(7 * n, -0.01) for n in range(3)]
    found = of(*good, marked(21, -0.07))
    assert found.observe(marked(22, -0.0105)) == "kept"
    assert at(found, 23) == at(of(*good, marked(22, -0.0105)), 23)


def test_two_odd_tests_that_agree_are_a_step() -> None:
    """A probe that fouls by 6 % is followed from the second test on, and not before its step."""
    found = of(*(marked(7 * n, -0.01) for n in range(3)))
    assert found.observe(marked(21, -0.07)) == "odd"
    assert found.observe(marked(22, -0.072)) == "step"
    mean, spread = at(found, 22.1)
    assert mean == pytest.approx(-math.log(0.929), abs=0.004)
    assert spread < 0.006
    assert at(found, 20)[0] == pytest.approx(0.01, abs=0.004)


def test_two_odd_tests_that_disagree_decide_nothing() -> None:
    """A slip up and a slip down: both are set aside, the factor stays."""
    good = [marked(7 * n, -0.01) for n in range(3)]
    found = of(*good, marked(21, -0.08))
    assert found.observe(marked(22, 0.06)) == "odd"
    assert at(found, 23)[0] == pytest.approx(at(of(*good), 23)[0], abs=1e-12)
    assert len(found.kept) == 3


def test_a_slow_drift_is_followed_without_a_question() -> None:
    """A probe that loses 0.2 % a week is never odd, and is known within its stated interval."""
    found = Calibration(SIZES)
    for week in range(40):
        assert found.observe(marked(7 * week, -0.002 * week)) == "kept"
        mean, spread = at(found, 7 * week + 3)
        assert abs(mean + math.log(1.0 - 0.002 * (week + 3 / 7))) < 2.0 * spread


def test_a_cleaned_probe_begins_anew() -> None:
    """Told that the probe was cleaned, the next test is believed at once, 6 % off or not."""
    found = of(*(marked(7 * n, -0.07) for n in range(3)))
    assert found.observe(marked(21, -0.01)._replace(cleaned=True)) == "kept"
    assert at(found, 22)[0] == pytest.approx(0.01, abs=0.003)


def test_a_bounded_number_is_kept_the_newest() -> None:
    """However many tests come, the state stays small."""
    found = of(*(marked(day, -0.01) for day in range(3 * MOST_KEPT)))
    days = [round(test.seconds / DAY_SECONDS) for test in found.kept]
    assert days == list(range(2 * MOST_KEPT, 3 * MOST_KEPT))


def test_written_and_read_back_it_is_the_same() -> None:
    """Through JSON text: the same plain data, and to the last digit the same factor."""
    found = of(*(marked(7 * n, -0.01) for n in range(3)), marked(21, -0.07), marked(22, -0.07))
    found.observe(marked(30, 0.1))
    again = Calibration(SIZES)
    again.thaw(json.loads(json.dumps(found.freeze())))
    assert again.freeze() == found.freeze()
    for day, temperature_c in ((10, 10.0), (40, -5.0)):
        assert at(again, day, temperature_c) == at(found, day, temperature_c)


def test_the_strength_is_read_through_the_factor() -> None:
    """A probe 4 % low, tested, tells the true strength; its plain reading lies 3 % by mass off."""
    found = Calibration(SIZES)
    found.observe(marked(0, -0.04)._replace(cleaned=True))
    read = conductivity(0.228, 9.0) * 0.96
    strength = calibrated_word(
        found,
        read,
        9.0,
        seconds=0.2 * DAY_SECONDS,
        conductivity_standard_uncertainty=0.01 * read,
        temperature_standard_uncertainty=0.3,
    ).salinity
    assert strength.mass_fraction == pytest.approx(0.228, abs=0.0015)
    low, high = strength.interval_95
    assert low < 0.228 < high
    assert high - low < 0.014


@pytest.mark.parametrize("read", [0.0, -1.0, math.nan, math.inf, 1e9])
def test_what_is_no_reading_is_refused(read: float) -> None:
    """Nonsense from a probe is refused as it is without tests, and never looked up."""
    with pytest.raises(NotBrine):
        calibrated_word(
            of(marked(0, -0.02)),
            read,
            9.0,
            seconds=0.0,
            conductivity_standard_uncertainty=0.1,
            temperature_standard_uncertainty=0.3,
        )


@pytest.mark.parametrize("temperature_c", [-30.0, 45.0, math.nan])
def test_a_temperature_that_is_not_known_is_refused(temperature_c: float) -> None:
    """The same for the thermometer."""
    with pytest.raises(NotBrine):
        calibrated_word(
            of(marked(0, -0.02)),
            17.0,
            temperature_c,
            seconds=0.0,
            conductivity_standard_uncertainty=0.1,
            temperature_standard_uncertainty=0.3,
        )
