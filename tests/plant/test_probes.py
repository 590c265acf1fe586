"""A probe and its tests: what it said then, what is remembered, what is asked."""

import json
import math
from dataclasses import replace

import pytest

from brineward.physics.probe_test import DENSITY_SALTS
from brineward.physics.salinity import Salinity
from brineward.physics.stands import dense
from brineward.plant.probes import Probe
from brineward.plant.trackers import Trackers
from brineward.readings.instants import DAY, MINUTE, SECOND
from depots import DEPOT, START, brine, by_hand, plan


def probe() -> Probe:
    """The probe of the small depot."""
    return Trackers(plan()).probes["main"]


def hear(one: Probe, at: int, read: float, temperature_c: float = 10.0, count: int = 6) -> None:
    """Readings ten seconds apart, the last at `at`."""
    for number in range(count):
        one.note(at - (count - 1 - number) * 10 * SECOND, read, temperature_c)


def test_a_test_is_compared_with_the_mean_of_what_was_said() -> None:
    """Readings about its time, in the logarithm; others are not looked at."""
    one = probe()
    hear(one, START - 30 * MINUTE, 9.0)
    one.note(START - 20 * SECOND, 16.0, 9.8)
    one.note(START - 10 * SECOND, 17.0, 10.0)
    one.note(START, 18.0, 10.2)
    record = one.learn(by_hand(START))
    assert record.finding == "kept"
    assert record.conductivity_s_per_m == pytest.approx((16.0 * 17.0 * 18.0) ** (1 / 3), abs=1e-6)
    assert record.temperature_c == pytest.approx(10.0)
    expected = math.log(brine(0.233 - DENSITY_SALTS, 10.0) / (16.0 * 17.0 * 18.0) ** (1 / 3))
    assert record.log_factor == pytest.approx(expected, abs=1e-6)


@pytest.mark.parametrize("minutes", [30, 600, 24 * 60 - 20])
def test_a_test_entered_late_finds_what_was_said_then(minutes: int) -> None:
    """Up to a day later it is compared with the readings of its own time."""
    one, then = probe(), START + 5 * MINUTE
    hear(one, then, 16.5)
    for minute in range(10, minutes + 1, 10):
        hear(one, then + minute * MINUTE, 12.0)
    record = one.learn(by_hand(then))
    assert record.conductivity_s_per_m == pytest.approx(16.5)


def test_a_silent_probe_learns_nothing() -> None:
    """No reading, or too few of them: the test is on record and teaches nothing."""
    one = probe()
    hear(one, START, 16.5, count=2)
    hear(one, START - 40 * MINUTE, 16.5)
    record = one.learn(by_hand(START))
    assert record.finding == "unpaired"
    assert (record.conductivity_s_per_m, record.log_factor, record.parted) == (None, None, None)
    assert not one.calibrated
    assert one.factor(DEPOT, START) is None
    assert one.question() == ""
    assert one.records == [record]


@pytest.mark.parametrize("mass_fraction", [0.0, 1e-8, 0.004])
def test_water_teaches_nothing(mass_fraction: float) -> None:
    """A test of water, as a journal of an older version may hold: on record, and that is all."""
    one = probe()
    hear(one, START, 16.5)
    record = one.learn(replace(by_hand(START), mass_fraction=mass_fraction))
    assert (record.finding, record.log_factor) == ("unpaired", None)
    assert not one.calibrated


def test_density_of_water_beside_weak_brine_is_not_looked_at() -> None:
    """A meter that shows water, or less, gives no factor: the observation is the probe's alone."""
    one = probe()
    weak = brine(0.008, 10.0)
    hear(one, START, weak)
    water = Salinity(0.0, 0.001, (0.0, 0.002))
    one.density = lambda now, celsius, uncertainty: (water, dense(0.0, 0.001))
    assert one.look(START, START / SECOND)
    [look] = one.calibration.stands.looks
    assert look.by_density is None


def test_without_tests_a_reading_is_taken_as_ever() -> None:
    """The data sheet's uncertainty, no factor."""
    plain = probe().strength(START, brine(0.233, 10.0), 10.0)
    assert plain.mass_fraction == pytest.approx(0.233)
    assert 0.005 < plain.standard_uncertainty < 0.012


def test_the_factor_is_a_derived_value() -> None:
    """As a derived value with its relative standard uncertainty, at the place of the test."""
    one = probe()
    hear(one, START, brine(0.233, 10.0) / 1.02)
    one.learn(by_hand(START))
    found = one.factor(DEPOT, START + MINUTE)
    assert found is not None
    assert (found.name, found.time, found.calibrated) == ("main-probe-factor", START + MINUTE, True)
    assert found.value == pytest.approx(1.02, abs=0.002)
    assert found.standard_uncertainty is not None
    assert found.standard_uncertainty < 0.005


def test_what_is_asked_of_people() -> None:
    """Nothing while tests agree; a second test after an odd one; cleaning after a step.

    A hydrometer takes other salts for salt: so a tenth of a percent is not the probe's.
    """
    one = probe()

    def on_day(day: int, off: float, *, cleaned: bool = False) -> str:
        hear(one, START + day * DAY, brine(0.233, 10.0) * (1.0 + off))
        one.learn(by_hand(START + day * DAY, cleaned=cleaned))
        return one.question()

    assert [on_day(day, -0.01) for day in (0, 7, 14)] == ["", "", ""]
    assert on_day(21, -0.045) == "probe and test disagree by 2.5 % salt"
    assert on_day(22, -0.045) == "probe shifted, reads 4.4 % low"
    assert on_day(23, -0.045) == ""
    assert on_day(24, -0.01, cleaned=True) == ""


def test_a_probe_far_off_wants_cleaning_however_slowly_it_went() -> None:
    """At 5 % it is asked, with the side that it reads to."""
    one = probe()
    hear(one, START, brine(0.233, 10.0) * 0.94)
    one.learn(by_hand(START, cleaned=True))
    assert one.question() == "probe reads 5.9 % low"


def test_written_and_read_back_it_is_the_same() -> None:
    """Through JSON: readings remembered, tests, factor."""
    one = probe()
    hear(one, START, 16.6)
    one.learn(by_hand(START))
    hear(one, START + DAY // 2, 16.5)
    again = probe()
    again.restore(json.loads(json.dumps(one.snapshot())))
    assert again.snapshot() == one.snapshot()
    later = by_hand(START + DAY // 2)
    assert again.learn(later) == one.learn(later)


def test_what_is_remembered_is_bounded() -> None:
    """A day of readings and fifty tests, however long it runs."""
    one = probe()
    for hour in range(0, 24 * 60, 1):
        hear(one, START + hour * 3_600_000, 16.6, count=3)
        if hour % 12 == 0:
            one.learn(by_hand(START + hour * 3_600_000))
    calibration, records, stretches = one.snapshot()
    assert len(calibration["tests"]) <= 32
    assert len(records) == 50
    assert len(stretches) <= 145
