"""When the next test is worth the walk."""

import pytest

from brineward.commands.next_test import next_test
from brineward.plant.plan import Strength
from brineward.plant.probes import Probe
from brineward.plant.trackers import Trackers
from brineward.readings.instants import DAY, MINUTE
from depots import START, brine, by_hand, plan

BAND = Strength()


def probe() -> Probe:
    """The probe of the small depot."""
    return Trackers(plan()).probes["main"]


def take(one: Probe, temperature_c: float, *, off: float = 0.0, at: int = START) -> None:
    """A test of brine at the target, the probe reading `off` (relative)."""
    for number in range(6):
        read = brine(BAND.target, temperature_c) * (1.0 + off)
        one.note(at + number * 10_000, read, temperature_c)
    one.learn(by_hand(at + MINUTE, BAND.target))


def test_a_probe_that_was_never_tested_is_due() -> None:
    """By its data sheet alone, brine at the target may as well be outside of the band."""
    found = next_test(probe(), BAND, 5.0, START)
    assert found.loose
    assert found.old
    assert (found.at, found.below_c, found.above_c) == (None, None, None)


def test_right_after_a_test_it_is_not() -> None:
    """It says until when, and at what cold, what the test taught is enough."""
    one = probe()
    take(one, 5.0, off=-0.02)
    found = next_test(one, BAND, 5.0, START + DAY)
    assert not found.loose
    assert not found.old
    assert found.known is not None
    assert BAND.low < found.known.interval_95[0] < BAND.target < found.known.interval_95[1]
    assert found.known.mass_fraction == pytest.approx(BAND.target, abs=0.0003)
    assert found.below_c is not None
    assert -15.0 < found.below_c < 4.0


def test_what_it_foretells_of_the_cold_comes_true() -> None:
    """In the cold that it names a test is due, and half a kelvin over it not."""
    one = probe()
    take(one, 5.0)
    found = next_test(one, BAND, 5.0, START + DAY)
    assert found.below_c is not None
    assert next_test(one, BAND, found.below_c, START + DAY).loose
    assert not next_test(one, BAND, found.below_c + 0.5, START + DAY).loose


@pytest.mark.parametrize("loose", [False, True])
def test_what_it_foretells_of_time_comes_true(loose: bool) -> None:
    """On the day that it names a test is due, and not the day before: old, or in the cold loose."""
    one = probe()
    take(one, 5.0)
    below_c = next_test(one, BAND, 5.0, START + DAY).below_c
    assert below_c is not None
    # Half a kelvin over the cold in which it is loose today, age makes it so within weeks.
    temperature_c = below_c + 0.5 if loose else 5.0
    found = next_test(one, BAND, temperature_c, START + DAY)
    assert found.at is not None
    then = next_test(one, BAND, temperature_c, found.at)
    assert (then.loose, then.old) == (loose, not loose)
    before = next_test(one, BAND, temperature_c, found.at - DAY)
    assert not before.loose
    assert not before.old


def test_brine_that_is_no_liquid_is_due() -> None:
    """Below the eutectic nothing is known of the strength, and nothing is predicted."""
    one = probe()
    take(one, 5.0)
    found = next_test(one, BAND, -24.0, START + DAY)
    assert found == (None, True, False, None, None, None)
