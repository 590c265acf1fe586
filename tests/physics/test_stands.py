"""Standing brine as a check on its probe: relates its factor over time, whatever the strength."""

import math

import numpy as np
import pytest
from hypothesis import given
from hypothesis import strategies as st

from brineward.physics.apart import APART_SECONDS, SAME_READING, own_variance
from brineward.physics.calibration import Calibration
from brineward.physics.calibration_prior import DAY_SECONDS, Sizes, covariance, point
from brineward.physics.conductivity import conductivity, slope_in_mass_fraction
from brineward.physics.estimate import Factor, Held, weighed_with_held
from brineward.physics.fed import STAND_UNKNOWN
from brineward.physics.probe_test import probe_test, root_sum_of_squares
from brineward.physics.salinity import mass_fraction_from_conductivity
from brineward.physics.stands import (
    MOST_LOOKS,
    STAND_WANDERS,
    Look,
    Stands,
    look,
    shared_with_test,
)

SIZES = Sizes(0.01, 0.3)
BRINE = 0.233


def seen(
    day: float,
    off: float = 0.0,
    *,
    stand: float = 0.0,
    strength: float = BRINE,
    temperature_c: float = 10.0,
) -> Look:
    """A look at brine of a strength, taken for `BRINE`, where the probe reads `off` (relative)."""
    true = conductivity(strength, temperature_c)
    return look(
        BRINE,
        seconds=day * DAY_SECONDS,
        stand=stand * DAY_SECONDS,
        conductivity_s_per_m=true * (1.0 + off),
        temperature_c=temperature_c,
        conductivity_standard_uncertainty=0.01 * true,
        temperature_standard_uncertainty=0.3,
        apart_standard_uncertainty_k=0.1,
    )


def take_test(found: Calibration, day: float, off: float) -> None:
    """A hydrometer test of `BRINE` at 10 degC."""
    true = conductivity(BRINE, 10.0)
    found.observe(
        probe_test(
            BRINE,
            0.0013,
            seconds=day * DAY_SECONDS,
            conductivity_s_per_m=true * (1.0 + off),
            temperature_c=10.0,
            conductivity_standard_uncertainty=0.01 * true,
            temperature_standard_uncertainty=0.3,
            apart_standard_uncertainty_k=0.1,
        )
    )


def test_it_is_the_best_linear_estimate() -> None:
    """Factor and strength held are those of the textbook's formula, worked out with numpy."""
    found = Calibration(SIZES)
    take_test(found, 0.2, -0.01)
    looks = [seen(d, -0.01, strength=0.231, temperature_c=10 - 3 * d) for d in (0.5, 1.5, 2.5)]
    for one in looks:
        found.look(one)
    test = found.kept[0]
    places = [point(o.seconds, o.temperature_c, o.mass_fraction) for o in (test, *looks)]
    there = point(3 * DAY_SECONDS, 4.0, BRINE)
    matrix = np.array([[covariance(a, b, SIZES) for b in places] for a in places])
    slope = np.array([0.0, *(one.slope for one in looks)])
    matrix += STAND_UNKNOWN**2 * np.outer(slope, slope)
    ratio = found.stands.apart.ratio
    same = [shared_with_test(one, test, ratio) for one in looks]
    matrix[0, 1:] += same
    matrix[1:, 0] += same
    own = [own_variance(one.own, one.apart, ratio) for one in (test, *looks)]
    matrix += np.diag([test.shared**2 + own[0], *own[1:]])
    for i, j in ((1, 2), (2, 1), (1, 3), (3, 1), (2, 3), (3, 2)):
        near = math.exp(-abs(places[i].seconds - places[j].seconds) / APART_SECONDS)
        wanders = [(slope[k] * STAND_WANDERS) ** 2 for k in (i, j)]
        matrix[i, j] += SAME_READING * near * min(own[i] - wanders[0], own[j] - wanders[1])
    said = np.array([test.log_factor, *(one.log_factor for one in looks)])
    across = np.array([covariance(there, a, SIZES) for a in places])
    factor = found.factor_at(there.seconds, 4.0, BRINE)
    variance = covariance(there, there, SIZES) - across @ np.linalg.solve(matrix, across)
    assert factor.log_factor == pytest.approx(across @ np.linalg.solve(matrix, said), rel=1e-7)
    assert factor.standard_uncertainty == pytest.approx(float(np.sqrt(variance)), rel=1e-7)
    held = found.held(0.0, there.seconds - 1.0, 4.0)
    assert held is not None
    more = -(STAND_UNKNOWN**2) * slope
    gain = slope_in_mass_fraction(BRINE, 4.0)
    strength = more @ np.linalg.solve(matrix, said)
    assert held.log_conductivity == pytest.approx(
        math.log(conductivity(BRINE, 4.0)) + gain * strength, abs=1e-6
    )
    spread = STAND_UNKNOWN**2 - more @ np.linalg.solve(matrix, more)
    assert held.standard_uncertainty == pytest.approx(gain * float(np.sqrt(spread)), rel=1e-4)
    assert strength == pytest.approx(0.231 - BRINE, abs=0.003)


def test_a_stand_keeps_what_a_test_taught() -> None:
    """A week after a test, seven kelvin colder, in the same brine: a third of the doubt is gone."""
    alone, stood = Calibration(SIZES), Calibration(SIZES)
    for one in (alone, stood):
        take_test(one, 0.0, 0.0)
    for number in range(1, 8):
        stood.look(seen(number, temperature_c=10.0 - number))
    before = alone.factor_at(7.5 * DAY_SECONDS, 3.0, BRINE).standard_uncertainty
    after = stood.factor_at(7.5 * DAY_SECONDS, 3.0, BRINE).standard_uncertainty
    assert after < 0.75 * before


def test_another_stand_says_nothing_of_the_strength() -> None:
    """Brine 2 % weaker after a fill is no change of the probe, and its strength is not held."""
    found = Calibration(SIZES)
    take_test(found, 0.0, 0.0)
    for number in range(6):
        strength, stand = (BRINE, 0.0) if number < 3 else (0.213, 3.0)
        assert found.look(seen(number + 0.1, strength=strength, stand=stand)) is None
    assert found.held(0.0, 6 * DAY_SECONDS, 10.0) is None
    held = found.held(3 * DAY_SECONDS, 6 * DAY_SECONDS, 10.0)
    assert held is not None
    told = mass_fraction_from_conductivity(math.exp(held.log_conductivity), 10.0)
    assert told == pytest.approx(0.213, abs=0.001)


@pytest.mark.parametrize(("off", "within"), [(0.03, 1), (-0.02, 1), (-0.01, 4)])
def test_a_step_is_seen_in_so_many_looks(off: float, within: int) -> None:
    """Three days of standing, then a film or a bubble: of 2 % at once, of 1 % in four looks."""
    found = Stands(SIZES)
    for number in range(9):
        assert found.take(seen(number / 3)) is None
    changes = [found.take(seen(3 + number / 3, off)) for number in range(within)]
    assert [one for one in changes if one is not None]
    assert found.changes[-1].seconds >= 3 * DAY_SECONDS


def test_a_first_look_after_a_fill_shows_no_change() -> None:
    """Film and fill between the same two looks: nobody can tell, and nothing is reported."""
    found = Stands(SIZES)
    for number in range(6):
        found.take(seen(number / 3))
    assert found.take(seen(2.0, -0.05, stand=2.0)) is None
    assert found.changes == []


def test_chance_is_seldom_taken_for_a_change() -> None:
    """Of 2,400 looks, each off by its own uncertainty, fewer than one in 500 shows a change."""
    random = np.random.default_rng(20261)
    changes = 0
    for _ in range(60):
        found = Stands(SIZES)
        for number in range(40):
            one = seen(number / 3)
            off = round(float(one.log_factor + one.own * random.standard_normal()), 9)
            changes += found.take(one._replace(log_factor=off)) is not None
    assert changes <= 4


def test_a_cleaning_that_a_test_tells_of_is_no_second_change() -> None:
    """The day before or after a test with `cleaned`, a change in standing brine is the cleaning."""
    found = Calibration(SIZES)
    for number in range(6):
        found.look(seen(number / 3, -0.04))
    assert found.look(seen(2.0)) is not None
    assert len(found.seen_changes()) == 1
    after = Calibration(SIZES)
    take_test(after, 2.01, 0.0)
    found.observe(after.tests[0]._replace(cleaned=True))
    assert found.seen_changes() == []


def test_written_and_read_back_it_goes_on_the_same() -> None:
    """As many looks as are remembered, a change among them; then both take the same next looks."""
    found, again = Calibration(SIZES), Calibration(SIZES)
    take_test(found, 0.0, 0.0)
    for number in range(MOST_LOOKS + 6):
        found.look(seen(number / 3, 0.0 if number < 20 else -0.03))
    again.thaw(found.freeze())
    for number in range(MOST_LOOKS + 6, MOST_LOOKS + 12):
        for one in (found, again):
            one.look(seen(number / 3, -0.03, temperature_c=9.0))
        at = number / 3 * DAY_SECONDS
        assert found.factor_at(at, 5.0, BRINE) == again.factor_at(at, 5.0, BRINE)
        assert found.held(0.0, at, 5.0) == again.held(0.0, at, 5.0)
    assert found.freeze() == again.freeze()
    assert len(found.stands.looks) == MOST_LOOKS


def test_a_clock_that_was_ahead_leaves_no_looks_of_tomorrow() -> None:
    """Looks later than the newest are forgotten, and so are their changes."""
    found = Stands(SIZES)
    for number in range(9):
        found.take(seen(10 + number / 3, 0.0 if number < 6 else -0.05))
    assert found.changes
    found.take(seen(1.0))
    assert [one.seconds for one in found.looks] == [DAY_SECONDS]
    assert found.changes == []


def test_a_reading_far_from_what_is_held_counts_alone() -> None:
    """Within its noise it is drawn to the strength held; six times that off, nothing is held."""
    held = Held(2.8, 0.003, 0.0, 10.0, 0.02)
    drawn = weighed_with_held(Factor(2.8 + 0.004, 0.004), 0.003, held, 10.0)
    assert drawn is not None
    assert 2.8 < drawn.log_conductivity < 2.802
    assert drawn.standard_uncertainty < 0.003
    assert weighed_with_held(Factor(2.8 + 0.04, 0.004), 0.003, held, 10.0) is None


@given(off=st.floats(-6.0, 6.0), noise=st.floats(0.001, 0.01))
def test_what_errors_alone_bring_takes_nothing_from_what_was_held(off: float, noise: float) -> None:
    """Up to two standard deviations apart the two are weighed for the least variance, as if they
    agreed; at four or more, nothing of what was held is left."""
    held = Held(2.8, 0.002, 0.0, 10.0, 0.023)
    apart = root_sum_of_squares(0.004, noise, 0.002)
    agreed = weighed_with_held(Factor(2.8, 0.004), noise, held, 10.0)
    found = weighed_with_held(Factor(2.8 + off * apart, 0.004), noise, held, 10.0)
    assert agreed is not None
    if abs(off) >= 4.001:
        assert found is None
    elif abs(off) <= 1.999:
        assert found is not None
        assert found.share == pytest.approx(agreed.share)
    elif found is not None:
        assert found.share <= agreed.share


def test_cold_nights_measure_percent_per_degree() -> None:
    """Brine that truly gains 0.3 % a kelvin more than the curve says below 5 degC, looked at as it
    cools from there: the slope shown moves most of the way, its interval holds the truth, and is
    narrower than before anybody looked."""
    found = Calibration(SIZES)
    more, at_c = 0.003, 0.0
    before = found.per_kelvin(0.0, at_c, BRINE)
    for number in range(20):
        cooled = 5.0 - 0.5 * number
        found.look(seen(number / 3.0, off=more * (cooled - 5.0), temperature_c=cooled))
    after = found.per_kelvin(7 * DAY_SECONDS, at_c, BRINE)
    truth = before.log_factor + more
    assert before.log_factor == pytest.approx(
        math.log(conductivity(BRINE, 2.5) / conductivity(BRINE, -2.5)) / 5.0, abs=1e-8
    )
    assert after.log_factor - before.log_factor > 0.6 * more
    assert abs(after.log_factor - truth) < 1.96 * after.standard_uncertainty
    assert after.standard_uncertainty < 0.7 * before.standard_uncertainty


def test_looks_of_three_weeks_are_remembered() -> None:
    """A look every eight hours for a month: all of the last two days, one a day before that; and
    what they say together is what the same looks say when nothing else was ever taken."""
    found, again = Calibration(SIZES), Calibration(SIZES)
    take_test(found, 0.0, 0.0)
    for number in range(90):
        found.look(seen(number / 3, stand=7.0 * (number // 21), temperature_c=10.0 - number / 9))
    at = [one.seconds / DAY_SECONDS for one in found.stands.looks]
    assert len(at) == MOST_LOOKS
    assert at[-1] - at[0] > 18.0
    assert [round(3 * (at[-1] - day)) for day in at[-6:]] == [5, 4, 3, 2, 1, 0]
    again.thaw(found.freeze())
    assert again.stands.lower == found.stands.lower
