"""What is remembered of one sensor: whether it is believed, and for how long its value is good."""

import json

from hypothesis import given
from hypothesis import strategies as st

from brineward.plant.plan import Measure
from brineward.plant.sensors import Cover, SensorTracker
from brineward.plant.trackers import forget
from brineward.readings.instants import SECOND
from depots import START, plan, reading, sensor


def level() -> SensorTracker:
    """The small depot's level: 0 to 2.6 m, silent after a minute."""
    return SensorTracker(plan().sensors["level"])


@given(st.lists(st.booleans(), max_size=60))
def test_implausible_is_three_running_or_half_of_sixteen(marks: list[bool]) -> None:
    """The bits say what counting says."""
    one = level()
    for place, bad in enumerate(marks):
        assert one.take(reading("level", place, 9.0 if bad else 1.0)) is not bad
    three = len(marks) >= 3 and all(marks[-3:])
    assert one.implausible == (three or sum(marks[-16:]) >= 8)


def test_a_value_is_fresh_until_its_silence_is_over() -> None:
    """To the millisecond at which it is silent; a bad value makes the last good one no fresher."""
    one = level()
    assert not one.fresh(START)
    one.take(reading("level", 0, 0.0))
    one.take(reading("level", 50, None))
    assert one.fresh(START + 59_999)
    assert one.believed(START + 59_999) == 0.0
    assert not one.fresh(START + 60_000)
    assert one.believed(START + 60_000) is None


def test_zero_is_a_value() -> None:
    """An empty tank is no missing reading."""
    one = level()
    assert one.take(reading("level", 0, 0.0))
    assert one.value == 0.0


def test_the_silence_that_a_sensor_asked_for_is_kept() -> None:
    """Through a restart, and through a clock that is set: it may not say so again for hours."""
    one = level()
    one.take(reading("level", 0, 1.0)._replace(silent_after_seconds=3600.0))
    forget([one], [level()])
    assert one.silent_after == 3600 * SECOND
    other = level()
    other.restore(json.loads(json.dumps(one.snapshot())))
    assert other.silent_after == 3600 * SECOND


def test_a_probe_is_covered_while_the_surface_is_clear_of_it() -> None:
    """Five centimetres over it; where the level is implausible nobody knows."""
    one = level()
    cover = Cover(one, 0.3)
    assert cover.covered() is None
    for metres, covered in ((0.34, False), (0.35, True)):
        one.take(reading("level", metres * 100, metres))
        assert cover.covered() is covered
    for place in range(3):
        one.take(reading("level", 40 + place, None))
    assert cover.covered() is None


def test_however_fast_it_reports_what_is_remembered_is_small() -> None:
    """A hundred readings a second, each a jump, for five minutes."""
    one = SensorTracker(sensor("cond", Measure.CONDUCTIVITY, "main", low=0.0, high=40.0))
    for place in range(30_000):
        one.take(reading("cond", place / 100, 40.0 * (place % 2)))
    assert len(json.dumps(one.snapshot())) < 20_000
