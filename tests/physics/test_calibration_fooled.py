"""What tried to fool the calibration: films, slips that confirm themselves, the order of entering.

Each case was once a probe that was confidently wrong for weeks or months.
"""

import itertools

import pytest

from brineward.physics.calibrated import calibrated_word
from brineward.physics.calibration import Calibration
from brineward.physics.calibration_prior import DAY_SECONDS, Sizes
from brineward.physics.conductivity import conductivity
from brineward.physics.freezing import ice_line_mass_fraction
from brineward.physics.probe_test import ProbeTest, probe_test

SIZES = Sizes(0.01, 0.3)
BRINE = 0.233
TEST_OFF = 0.0013


def marked(
    day: float,
    off: float = 0.0,
    *,
    says: float = BRINE,
    strength: float = BRINE,
    temperature_c: float = 10.0,
    bias_k: float = 0.0,
    cleaned: bool = False,
) -> ProbeTest:
    """A test that says `says` of brine of a strength, where the probe reads `off` of the truth."""
    true = conductivity(strength, temperature_c)
    return probe_test(
        says,
        TEST_OFF,
        seconds=day * DAY_SECONDS,
        conductivity_s_per_m=true * (1.0 + off),
        temperature_c=temperature_c + bias_k,
        conductivity_standard_uncertainty=0.01 * true,
        temperature_standard_uncertainty=0.3,
        apart_standard_uncertainty_k=0.1,
        cleaned=cleaned,
    )


def of(*tests: ProbeTest) -> Calibration:
    """A calibration that has taken these tests."""
    found = Calibration(SIZES)
    for one in tests:
        found.observe(one)
    return found


def told(
    found: Calibration,
    day: float,
    off: float = 0.0,
    *,
    strength: float = BRINE,
    temperature_c: float = 10.0,
    bias_k: float = 0.0,
) -> tuple[float, float, float]:
    """The strength that a reading tells, and the ends of its interval."""
    read = conductivity(strength, temperature_c) * (1.0 + off)
    one = calibrated_word(
        found,
        read,
        temperature_c + bias_k,
        seconds=day * DAY_SECONDS,
        conductivity_standard_uncertainty=0.01 * read,
        temperature_standard_uncertainty=0.3,
        apart_standard_uncertainty_k=0.1,
    ).salinity
    return one.mass_fraction, *one.interval_95


@pytest.mark.parametrize("a_month", [0.02, 0.03, 0.04])
@pytest.mark.parametrize("every_days", [7, 10, 14])
def test_a_creeping_film_is_followed(a_month: float, every_days: int) -> None:
    """A film of 2 to 4 % a month locks no test out: it is seen by the fourth test at the latest,
    the strength then stays within 0.4 % by mass of the truth, and always in its interval."""
    found = of(*(marked(7 * week) for week in range(4)))
    findings, seen = [], 0
    for number in range(1, 13):
        day = 21 + number * every_days
        off = -a_month * (day - 21) / 30.0
        findings.append(found.observe(marked(day, off)))
        value, low, high = told(found, day + 0.5, off)
        assert low < BRINE < high
        seen = seen or (number if "step" in findings or found.film() is not None else 0)
        if seen:
            assert abs(value - BRINE) < 0.004
    assert 0 < seen <= 4
    assert findings.count("odd") <= 1


def test_a_second_test_on_the_same_side_is_believed_however_far_it_lies() -> None:
    """Nobody is asked to test again and then ignored: 4 % off, then 9 % off, a week later."""
    found = of(*(marked(7 * week) for week in range(4)))
    assert found.observe(marked(28, -0.04)) == "odd"
    assert found.observe(marked(35, -0.09)) == "step"
    value, low, high = told(found, 35.5, -0.09)
    assert low < BRINE < high
    assert abs(value - BRINE) < 0.012


def test_a_slip_entered_twice_is_no_step() -> None:
    """The same mark again within minutes is the same sample: the first decides nothing twice."""
    found = of(*(marked(7 * week) for week in range(4)))
    assert found.observe(marked(28, says=0.258)) == "odd"
    assert found.observe(marked(28 + 5 / 1440, says=0.258)) == "odd"
    value, low, high = told(found, 28.1)
    assert abs(value - BRINE) < 0.002
    assert low < BRINE < high
    assert found.observe(marked(29, says=0.258)) == "step"


def test_five_tests_of_a_day_are_not_five_witnesses() -> None:
    """One hand, one glass, one sample: five of them leave at least 0.85 of what two leave."""
    two = of(*(marked(n) for n in range(2))).expected(marked(2)).standard_uncertainty
    five = of(*(marked(1 + n / 300) for n in range(5))).expected(marked(2)).standard_uncertainty
    assert five > 0.85 * two


def test_a_first_test_far_from_physics_does_not_rule() -> None:
    """Alone, or after a cleaning, a first test 8 % by mass off is set aside and asked about."""
    slip = marked(0, says=0.15)
    found = of()
    assert found.observe(slip) == "odd"
    assert found.doubt() > 0.02
    cleaned = of(*(marked(7 * week) for week in range(4)))
    assert cleaned.observe(marked(28, says=0.17, cleaned=True)) == "odd"
    _, low, high = told(cleaned, 28.5)
    assert low < BRINE < high


def test_a_cleaning_leaves_an_odd_test_undecided() -> None:
    """It waits for no other test any more: one of the cleaned probe says nothing about it."""
    odd = marked(28, says=0.258)
    found = of(*(marked(7 * week) for week in range(4)), odd)
    assert found.findings[odd] == "odd"
    assert found.observe(marked(29, cleaned=True)) == "kept"
    assert found.findings[odd] == "undecided"
    assert found.doubt() == 0.0


@pytest.mark.parametrize("offs", [(0.0, 0.0, -0.05, -0.052), (0.0, -0.06, 0.0, -0.06)])
def test_the_order_of_entering_changes_nothing(offs: tuple[float, ...]) -> None:
    """Four tests, entered in any of their 24 orders, leave the very same state."""
    tests = [marked(7 * n, off) for n, off in enumerate(offs)]
    wanted = of(*tests)
    for order in itertools.permutations(tests):
        found = of(*order)
        assert found.freeze() == wanted.freeze()
        assert found.findings == wanted.findings
        assert told(found, 29, offs[-1]) == told(wanted, 29, offs[-1])


def test_the_ice_line_is_asked_at_the_thermometers_own_uncertainty() -> None:
    """20.0 % near ice, read with a thermometer 0.4 K cold: the interval is not cut off above it."""
    there = -16.2
    assert ice_line_mass_fraction(there) < 0.2
    found = of(marked(0, strength=0.2, says=0.2, temperature_c=there + 0.1, bias_k=-0.4))
    _, low, high = told(found, 0.5, strength=0.2, temperature_c=there, bias_k=-0.4)
    assert low < 0.2 < high


def test_strength_that_was_not_tested_is_known_less_well() -> None:
    """Three percent from the tested strength the curve's slope is in doubt, and the factor says."""
    found = of(*(marked(7 * week) for week in range(4)))
    near = found.factor_at(22 * DAY_SECONDS, 10.0, BRINE).standard_uncertainty
    far = found.factor_at(22 * DAY_SECONDS, 10.0, BRINE - 0.03).standard_uncertainty
    assert far**2 - near**2 > (0.03 * 0.03 * 1.4) ** 2


def test_what_an_older_version_wrote_is_still_read() -> None:
    """Kept tests, those set aside and steps, as plain lists: the tests are all there."""
    old = [[list(marked(day)[:6]) for day in (0, 7)], [list(marked(14, -0.07)[:6])], [0.0]]
    found = Calibration(SIZES)
    found.thaw(old)
    assert len(found.kept) == 2
    assert [test.cleaned for test in found.tests] == [True, False, False]
    assert found.odd == [found.tests[-1]]
