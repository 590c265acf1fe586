"""A test that is believed may be a slip: until another bears it out, the interval says so."""

import math

import numpy as np
import pytest
from hypothesis import given
from hypothesis import strategies as st
from scipy.stats import norm

from brineward.physics.calibration import Calibration
from brineward.physics.calibration_prior import Sizes
from brineward.physics.conductivity import conductivity
from brineward.physics.doubt import SLIP_SPREAD, SLIPS, slip_probability
from brineward.physics.probe_test import probe_test

DAY = 86_400.0
BRINE, CELSIUS = 0.233, 8.0
SIZES = Sizes(0.01, 0.3)


def found_after(*off: float) -> Calibration:
    """A sound probe, tested each week; the mark of each test shows the brine so much too strong."""
    calibration = Calibration(SIZES)
    read = conductivity(BRINE, CELSIUS)
    for week, one in enumerate(off):
        calibration.observe(
            probe_test(
                BRINE + one,
                0.0013,
                seconds=week * 7 * DAY,
                conductivity_s_per_m=read,
                temperature_c=CELSIUS,
                conductivity_standard_uncertainty=0.01 * read,
                temperature_standard_uncertainty=0.3,
            )
        )
    return calibration


def after(weeks: int) -> float:
    """Half a day after the test of that week, in seconds."""
    return (7 * weeks + 0.5) * DAY


@given(st.floats(-6.0, 6.0))
def test_how_probable_a_slip_is_bayes_rule_says(parted: float) -> None:
    """By the densities of an independent library."""
    slip = SLIPS * norm.pdf(parted, scale=math.hypot(1.0, SLIP_SPREAD))
    sound = (1.0 - SLIPS) * norm.pdf(parted)
    assert slip_probability(parted) == pytest.approx(slip / (slip + sound), rel=1e-9)


@given(st.floats(0.0, 1e8))
def test_however_far_off_a_test_is_it_has_a_probability(parted: float) -> None:
    """Two hundred standard deviations off, both densities are 0 to a computer: that is a slip."""
    found = slip_probability(parted)
    assert SLIPS / math.hypot(1.0, SLIP_SPREAD) * 0.9 < found <= 1.0
    assert found == slip_probability(-parted)
    assert slip_probability(200.0) == 1.0


def test_a_believed_test_far_off_reaches_back_to_what_was_known_before() -> None:
    """The sixth test is 2.9 standard deviations off and is believed: the interval holds the truth,
    which it would not by the estimate alone."""
    sound = found_after(0.0, 0.0, 0.0, 0.0, 0.0)
    off = next(
        size
        for size in np.arange(0.002, 0.02, 0.0002)
        if found_after(0.0, 0.0, 0.0, 0.0, 0.0, float(size)).odd
    )
    slipped = found_after(0.0, 0.0, 0.0, 0.0, 0.0, float(off) - 0.0002)
    assert slipped.odd == []
    shown = slipped.factor_at(after(5), CELSIUS, BRINE)
    alone = math.sqrt(shown.standard_uncertainty**2 - slipped.doubt() ** 2)
    assert shown.log_factor > 1.96 * alone
    assert shown.log_factor < 1.96 * shown.standard_uncertainty
    assert sound.doubt() < 0.1 * slipped.doubt()


def test_a_second_test_that_bears_it_out_ends_the_doubt() -> None:
    """Two on one side on two occasions are no slips."""
    once = found_after(0.0, 0.0, 0.0, 0.0, 0.006)
    twice = found_after(0.0, 0.0, 0.0, 0.0, 0.006, 0.006)
    assert twice.doubt() < 0.5 * once.doubt()


@pytest.mark.parametrize("seed", range(8))
def test_sound_tests_hardly_widen_the_interval(seed: int) -> None:
    """Scattered as tests are, the doubt adds less than half a percent to the interval."""
    random = np.random.default_rng(seed)
    calibration = found_after(*(0.0012 * random.standard_normal(8)))
    spread = calibration.factor_at(after(7), CELSIUS, BRINE).standard_uncertainty
    without = math.sqrt(spread**2 - calibration.doubt() ** 2)
    assert calibration.odd == []
    assert spread < 1.005 * without


def test_the_first_test_has_nothing_to_be_held_against() -> None:
    """No doubt, whatever it shows within reason."""
    assert found_after(0.003).doubt() == 0.0
