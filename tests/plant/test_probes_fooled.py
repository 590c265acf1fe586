"""What tried to fool a probe with its tests: slow sensors, samples at another temperature, age."""

import math
from dataclasses import replace
from typing import get_args

import pytest

from brineward.decode.hand_tests import hand_test
from brineward.physics.hydrometer import SCALES, specific_gravity
from brineward.physics.probe_test import DENSITY_SALTS
from brineward.physics.slips import SlipKind
from brineward.plant.plan import Measure
from brineward.plant.probes import Probe
from brineward.plant.trackers import Trackers
from brineward.readings.entries import HandTest
from brineward.readings.instants import DAY, MINUTE, SECOND, Instant
from depots import DEPOT, START, brine, by_hand, plan


def probe(every_seconds: float = 10.0, **more: float) -> Probe:
    """The probe of the small depot, reporting so often."""
    known = plan()
    sensors = {
        name: replace(sensor, every_seconds=every_seconds, **more)
        if sensor.measures in (Measure.CONDUCTIVITY, Measure.TEMPERATURE)
        else sensor
        for name, sensor in known.sensors.items()
    }
    return Trackers(replace(known, sensors=sensors)).probes["main"]


def hear(one: Probe, at: Instant, strength: float = 0.233, temperature_c: float = 5.0) -> None:
    """A minute of readings of brine of a strength."""
    for number in range(6):
        one.note(at - number * 10 * SECOND, brine(strength, temperature_c), temperature_c)


def entered(at: Instant, **fields: str | float | bool) -> HandTest:
    """A test as a person enters it."""
    return hand_test({"vessel": "main", "by": "yard", **fields}, depot=DEPOT, now=at)


def mark(strength: float, sample_c: float) -> float:
    """What the hydrometer shows, read to half a thousandth."""
    return round(specific_gravity(strength, sample_c) * 2000) / 2000


@pytest.mark.parametrize("every_minutes", [10, 15])
@pytest.mark.parametrize("late_minutes", [0, 1, 5, 7])
def test_a_slow_probe_can_be_tested(every_minutes: int, late_minutes: int) -> None:
    """At a reading every 10 or 15 minutes each test of standing brine teaches something."""
    one = probe(every_minutes * 60.0)
    for number in range(4 * every_minutes):
        one.note(START + number * every_minutes * MINUTE, brine(0.233, 10.0) / 1.02, 10.0)
        if number == 8:
            at = START + (number * every_minutes + late_minutes) * MINUTE
            assert one.learn(by_hand(at)).finding == "kept"
    # The hydrometer takes other salts for salt, and the probe does not.
    of_salt = math.log(brine(0.233 - DENSITY_SALTS, 10.0) / brine(0.233, 10.0))
    assert one.records[0].log_factor == pytest.approx(0.02 + of_salt, abs=0.001)


def test_a_slow_probe_that_was_silent_for_an_hour_teaches_nothing() -> None:
    """Its own cadence is waited for, not any age."""
    one = probe(900.0)
    one.note(START, brine(0.233, 10.0), 10.0)
    assert one.learn(by_hand(START + 60 * MINUTE)).finding == "unpaired"


def test_fahrenheit_typed_as_celsius_is_asked_about_and_counts_for_little() -> None:
    """A tank at 5 degC and "41 degC": 21 % would become 23 %; until confirmed it stays 21."""
    one = probe()
    hear(one, START, 0.21)
    typed = entered(START, specific_gravity=mark(0.21, 5.0), temperature_c=41.0)
    assert typed.mass_fraction > 0.225
    record = one.learn(typed)
    assert record.slip == "fahrenheit"
    low, high = one.strength(START + MINUTE, brine(0.21, 5.0), 5.0).interval_95
    assert low < 0.21 < high
    assert one.strength(START + MINUTE, brine(0.21, 5.0), 5.0).mass_fraction < 0.217


def test_confirmed_it_counts_in_full() -> None:
    """A warm sample, truly warm, and said so: it is taken as any other."""
    one = probe()
    hear(one, START, 0.21)
    said = {"specific_gravity": mark(0.233, 20.0), "temperature_c": 20.0}
    doubted = one.learn(entered(START, **said))
    sure = probe()
    hear(sure, START, 0.21)
    taken = sure.learn(entered(START, **said, sure=True))
    assert (doubted.slip, taken.slip) == ("sample", "")
    assert sure.calibration.tests[0].own < 0.5 * one.calibration.tests[0].own


@pytest.mark.parametrize("confirmed_first", [False, True])
def test_a_test_that_is_confirmed_is_one_test(confirmed_first: bool) -> None:
    """Entered again with the same time, and sure: it takes the place of the one in doubt, which
    must not count as another that agrees with those before it."""
    one, said = probe(), {"specific_gravity": mark(0.245, 20.0), "temperature_c": 20.0}
    for day in (0, 5, 10):
        hear(one, START + day * DAY)
        one.learn(entered(START + day * DAY, specific_gravity=mark(0.233, 5.0), temperature_c=5.0))
    at = START + 15 * DAY
    hear(one, at)
    for sure in (confirmed_first, not confirmed_first):
        found = one.learn(entered(at, **said, sure=sure))
    assert (found.finding, found.slip) == ("odd", "")
    assert [record.finding for record in one.records] == ["kept", "kept", "kept", "odd"]
    assert len(one.calibration.tests) == 4
    assert one.question().startswith("probe and test disagree by ")
    assert one.strength(at + MINUTE, brine(0.233, 5.0), 5.0).standard_uncertainty > 0.004


@pytest.mark.parametrize("sample_c", [-8.0, 25.0])
def test_a_test_in_doubt_does_not_decide(sample_c: float) -> None:
    """One was set aside, and the next is probably a slip, on either side: it settles nothing. The
    strength stays uncertain and somebody is asked, until a good test decides."""
    one = probe()
    for day, strength in ((0, 0.233), (5, 0.233), (10, 0.233), (15, 0.245)):
        at = START + day * DAY
        hear(one, at)
        one.learn(entered(at, specific_gravity=mark(strength, 5.0), temperature_c=5.0))
    asked = one.question()
    assert asked.startswith("probe and test disagree by ")
    at = START + 16 * DAY
    hear(one, at)
    doubted = one.learn(
        entered(at, specific_gravity=mark(0.245, 5.0), temperature_c=sample_c, by="another")
    )
    assert (doubted.finding, doubted.slip) == ("kept", "sample")
    assert (one.records[3].finding, one.question()) == ("odd", asked)
    low, high = one.strength(at + MINUTE, brine(0.233, 5.0), 5.0).interval_95
    assert low < 0.233
    assert high > 0.2445
    at = START + 17 * DAY
    hear(one, at)
    one.learn(entered(at, specific_gravity=mark(0.245, 5.0), temperature_c=5.0))
    assert [one.records[number].finding for number in (3, 5)] == ["step", "step"]


def test_a_strength_over_saturation_is_asked_about() -> None:
    """No brine at -10 degC holds 26.5 %; a hydrometer's mark beyond is refused outright."""
    one = probe()
    hear(one, START, 0.24, -10.0)
    assert one.learn(entered(START, percent=26.5)).slip == "saturation"


@pytest.mark.parametrize("kind", get_args(SlipKind))
def test_every_slip_that_has_a_name_can_be_recognised(kind: str) -> None:
    """None of them is a promise that is never kept."""
    fields: dict[str, dict[str, str | float | bool]] = {
        "fahrenheit": {"specific_gravity": mark(0.21, 5.0), "temperature_c": 41.0},
        "celsius": {"specific_gravity": mark(0.21, 5.0), "temperature_c": -15.0},
        "sample": {"specific_gravity": mark(0.21, 18.0), "temperature_c": 18.0},
        "saturation": {"percent": 26.5, "standard_uncertainty": 0.05},
    }
    one = probe()
    hear(one, START, 0.21)
    assert one.learn(entered(START, **fields[kind])).slip == kind


@pytest.mark.parametrize("sample_c", [-15.0, 5.0, 40.0])
def test_two_scales_are_too_close_to_be_told_apart(sample_c: float) -> None:
    """A wrong one moves the strength by 0.25 % by mass at the most, less than two standard
    uncertainties of a mark beside a probe that is known to 0.1 %: so nobody can be asked about it.
    """
    found = [
        entered(
            START, specific_gravity=mark(0.233, sample_c), temperature_c=sample_c, scale=scale.name
        )
        for scale in SCALES
    ]
    shown = [one.mass_fraction for one in found]
    assert max(shown) - min(shown) == pytest.approx(0.0025, abs=0.0001)
    least = min(one.standard_uncertainty for one in found)
    assert max(shown) - min(shown) < 2.0 * math.hypot(least, 0.001)


def test_a_good_sample_is_not_asked_about() -> None:
    """Read at once, at the tank's temperature: nothing to ask, whatever the probe says."""
    one = probe()
    hear(one, START, 0.225)
    said = {"specific_gravity": mark(0.233, 6.0), "temperature_c": 6.0}
    assert one.learn(entered(START, **said)).slip == ""


def test_an_untested_probe_is_known_less_well_the_older_it_is() -> None:
    """Half a year without a test: a film of 3 % is inside the interval, at 20 degC too."""
    one = probe()
    hear(one, START, temperature_c=20.0)
    read = brine(0.233, 20.0) * 0.97
    fresh = one.strength(START + MINUTE, read, 20.0)
    old = one.strength(START + 180 * DAY, read, 20.0)
    assert fresh.interval_95[1] - fresh.interval_95[0] < 0.045
    assert old.interval_95[0] < 0.233 < old.interval_95[1]
    assert old.standard_uncertainty > 1.3 * fresh.standard_uncertainty


def test_a_good_data_sheet_is_no_field_accuracy() -> None:
    """0.1 % and 0.01 K on paper: after two months in brine it is no better than 1 % and 0.2 K."""
    one = probe(standard_uncertainty=0.01)
    hear(one, START)
    at = START + 60 * DAY
    assert one.strength(at, brine(0.233, 20.0), 20.0).standard_uncertainty > 0.008


def test_the_distance_to_the_thermometer_counts() -> None:
    """Twice the distance between probe and thermometer, and a tested strength is less sure."""
    known = {}
    for apart_k in (0.03, 0.1, 0.2):
        one = probe(apart_k=apart_k)
        hear(one, START)
        one.learn(by_hand(START))
        known[apart_k] = one.strength(START + MINUTE, brine(0.233, 5.0), 5.0).standard_uncertainty
    assert known[0.03] < known[0.1] < known[0.2]
    # 0.1 K is worth 0.17 % by mass. The half (in variance) that stays is learned with the test; the
    # other half counts at the test and again at the reading.
    assert known[0.2] ** 2 - known[0.03] ** 2 > (0.0017 * 1.8) ** 2


def test_entered_in_another_order_the_records_say_the_same() -> None:
    """A test entered late takes its place: what is told of every test is that of its time."""
    tests = [by_hand(START + hours * 3600 * SECOND) for hours in (1, 9)]
    tests.append(by_hand(START + 18 * 3600 * SECOND, 0.25))
    records = []
    for order in (tests, tests[::-1]):
        one = probe()
        for test in tests:
            hear(one, test.at)
        for test in order:
            one.learn(test)
        records.append((one.records, one.question(), one.calibration.freeze()))
    assert records[0] == records[1]
