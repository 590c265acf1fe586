"""A fill of known share ties two stands together: by mass balance, with honest doubt."""

import math

import numpy as np
import pytest

from brineward.physics.calibrated import calibrated_word
from brineward.physics.calibration import Calibration
from brineward.physics.calibration_prior import DAY_SECONDS, Sizes
from brineward.physics.conductivity import conductivity
from brineward.physics.fed import (
    FEED_LASTING,
    FEED_OWN,
    SHARE_LEAST,
    STAND_UNKNOWN,
    Fed,
    Strengths,
    could_bring,
)
from brineward.physics.salinity import mass_fraction_from_conductivity
from brineward.physics.stands import Look, look
from physics.test_stands import take_test

SIZES = Sizes(0.01, 0.3)
TARGET = 0.233


def seen(day: float, strength: float, *, stand: float, off: float = 0.0) -> Look:
    """A look at brine of a strength at 10 degC, where the probe reads `off` (relative)."""
    read = conductivity(strength, 10.0) * (1.0 + off)
    return look(
        TARGET,
        seconds=day * DAY_SECONDS,
        stand=stand * DAY_SECONDS,
        conductivity_s_per_m=read,
        temperature_c=10.0,
        conductivity_standard_uncertainty=0.01 * read,
        temperature_standard_uncertainty=0.3,
        apart_standard_uncertainty_k=0.1,
    )


def after_a_test() -> Calibration:
    """A calibration with a test at its start, and two days of looks at brine of the target."""
    found = Calibration(SIZES)
    take_test(found, 0.0, 0.0)
    for day in (0.4, 0.8, 1.2, 1.6):
        found.look(seen(day, TARGET, stand=0.1))
    return found


def held(found: Calibration, stand: float, day: float) -> tuple[float, float]:
    """The strength that a stand holds, and its standard uncertainty as ln(conductivity)."""
    one = found.held(stand * DAY_SECONDS, day * DAY_SECONDS, 10.0)
    assert one is not None
    told = mass_fraction_from_conductivity(math.exp(one.log_conductivity), 10.0)
    return told, one.standard_uncertainty


def test_its_covariances_are_those_of_the_balance() -> None:
    """Three fills, drawn two hundred thousand times by the balance itself: means and covariances
    are those that were computed."""
    shares = (0.3, 0.1, 0.6)
    strengths = Strengths()
    strengths.begin(0.0, 0.231, None)
    for number, share in enumerate(shares, start=1):
        strengths.begin(float(number), 0.24, Fed(number - 1.0, share, TARGET))
    random = np.random.default_rng(5)
    count = 200_000
    drawn = [0.231 + STAND_UNKNOWN * random.standard_normal(count)]
    lasting = FEED_LASTING * random.standard_normal(count)
    for share in shares:
        came = TARGET + lasting + FEED_OWN * random.standard_normal(count)
        drawn.append((1.0 - share) * drawn[-1] + share * came)
    covariance = np.cov(np.array(drawn))
    for a in range(4):
        about = 0.231 if a == 0 else 0.24
        assert about + strengths.mean(float(a)) == pytest.approx(np.mean(drawn[a]), abs=3e-4)
        for b in range(a + 1):
            # A share that is doubtful adds a little to the variance, which is not drawn here.
            assert strengths.covariance(float(a), float(b)) == pytest.approx(
                float(covariance[a, b]), abs=2.0e-5
            )


def test_a_share_that_is_doubtful_counts() -> None:
    """However little came in, it may have been a hundredth of the tank more."""
    strengths = Strengths()
    strengths.begin(0.0, 0.20, None)
    strengths.begin(1.0, 0.20, Fed(0.0, 0.0, TARGET))
    more = strengths.covariance(1.0, 1.0) - strengths.covariance(0.0, 0.0)
    assert more >= (SHARE_LEAST * 0.033) ** 2


def test_a_small_fill_may_be_short_of_salt_unseen() -> None:
    """3 % of a tank, one time in fifteen of 8 to 21 %, drawn two hundred thousand times: the
    strength after it scatters no more than is expected, and not less than half as much."""
    share, count = 0.03, 200_000
    random = np.random.default_rng(6)
    usual = TARGET + FEED_OWN * random.standard_normal(count)
    short = random.uniform(0.08, 0.21, count)
    brought = np.where(random.random(count) < 1.0 / 15.0, short, usual)
    strengths = Strengths()
    strengths.begin(0.0, TARGET, None)
    before = strengths.covariance(0.0, 0.0) * (1.0 - share) ** 2
    reckoned = strengths.reckoned(Fed(0.0, share, TARGET))
    assert reckoned is not None
    expected = math.sqrt(reckoned.variance - before)
    assert 0.5 * expected < share * brought.std() < expected


def test_what_a_test_taught_lasts_through_small_fills() -> None:
    """Topped up by 5 % every day for four days, the strength is known as well as if the tank had
    stood, within a fifth; where nobody knows what came in, much worse."""

    def topped_up(share: float | None) -> Calibration:
        found = after_a_test()
        for day in (2, 3, 4, 5):
            fed = None if share is None else Fed((day - 1 + 0.1) * DAY_SECONDS, share, TARGET)
            if fed is not None and day == 2:
                fed = fed._replace(before=0.1 * DAY_SECONDS)
            found.look(seen(day + 0.3, TARGET, stand=day + 0.1), fed)
        return found

    _, known = held(topped_up(0.05), 5.1, 5.5)
    _, unknown = held(topped_up(None), 5.1, 5.5)
    stood = after_a_test()
    for day in (2, 3, 4, 5):
        stood.look(seen(day + 0.3, TARGET, stand=0.1))
    _, standing = held(stood, 0.1, 5.5)
    assert standing < known < 1.2 * standing
    assert known < 0.85 * unknown


@pytest.mark.parametrize("weak", [0.215, 0.200])
def test_a_fill_that_brought_weak_brine_is_no_film(weak: float) -> None:
    """A third of the tank of brine that is far weaker: the strength is told as it is, at once, and
    the probe has not changed."""
    found = after_a_test()
    fed = Fed(0.1 * DAY_SECONDS, 0.34, TARGET)
    for day in (2.4, 2.8):
        assert found.look(seen(day, weak, stand=2.1), fed) is None
    told, _ = held(found, 2.1, 3.0)
    assert told == pytest.approx(weak, abs=0.0015)


def test_what_no_fill_could_have_brought_is_the_probe() -> None:
    """A hundredth of the tank came in, and it reads 5 % less: water itself would not do that."""
    found = after_a_test()
    fed = Fed(0.1 * DAY_SECONDS, 0.01, TARGET)
    assert found.look(seen(2.4, TARGET, stand=2.1, off=-0.05), fed) is not None
    found.look(seen(2.8, TARGET, stand=2.1, off=-0.05), fed)
    told, _ = held(found, 2.1, 3.0)
    assert told == pytest.approx(TARGET, abs=0.003)


def test_a_film_that_water_could_explain_is_left_to_a_test() -> None:
    """A fifth of the tank came in, and it reads 5 % less: weak brine is reported, not a film."""
    found = after_a_test()
    fed = Fed(0.1 * DAY_SECONDS, 0.2, TARGET)
    assert found.look(seen(2.4, TARGET, stand=2.1, off=-0.05), fed) is None
    told, _ = held(found, 2.1, 2.5)
    assert told < 0.208


def test_brine_can_only_be_between_water_and_saturated() -> None:
    """A tenth of the tank weakens it by 2.3 % at the most, and strengthens it by 0.4 %."""
    fed = Fed(0.0, 0.1, TARGET)
    assert could_bring(fed, -0.0232, 0.0)
    assert not could_bring(fed, -0.0234, 0.0)
    assert could_bring(fed, 0.0036, 0.0)
    assert not could_bring(fed, 0.0038, 0.0)
    assert could_bring(fed, 0.0038, 0.001)


def test_written_and_read_back_it_goes_on_the_same() -> None:
    """More stands than are remembered, each fed from the one before: the next looks say the same of
    a calibration that was written and read back."""
    found = after_a_test()
    before = 0.1
    for day in range(2, 32):
        fed = Fed(before * DAY_SECONDS, 0.1, TARGET)
        found.look(seen(day + 0.3, TARGET + 0.0005 * (day % 3), stand=day + 0.1), fed)
        before = day + 0.1
    again = Calibration(SIZES)
    again.thaw(found.freeze())
    for one in (found, again):
        one.look(seen(32.3, TARGET, stand=32.1), Fed(before * DAY_SECONDS, 0.2, TARGET))
    assert again.freeze() == found.freeze()
    assert held(again, 32.1, 32.5) == held(found, 32.1, 32.5)


def test_before_it_stands_again_the_balance_is_weighed_with_the_reading() -> None:
    """An hour after a tenth came in: known better than by the reading alone, drawn towards what the
    balance predicts; a reading far from that counts alone, for a fill may bring weak brine."""
    found = after_a_test()
    fed = Fed(0.1 * DAY_SECONDS, 0.1, TARGET)

    def told(read: float, came: Fed | None) -> tuple[float, float]:
        word = calibrated_word(
            found,
            read,
            10.0,
            seconds=2.0 * DAY_SECONDS,
            conductivity_standard_uncertainty=0.01 * read,
            temperature_standard_uncertainty=0.3,
            apart_standard_uncertainty_k=0.1,
            fed=came,
        )
        return word.salinity.mass_fraction, word.salinity.standard_uncertainty

    near, weak = conductivity(0.236, 10.0), conductivity(0.215, 10.0)
    alone, alone_doubt = told(near, None)
    drawn, doubt = told(near, fed)
    assert TARGET < drawn < alone - 0.0005
    assert doubt < 0.9 * alone_doubt
    assert told(weak, fed) == told(weak, None)
