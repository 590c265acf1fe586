"""The shelter's fall beside its usual fall, and the minutes that Newton's law of cooling leaves."""

import math
import random

import pytest

from brineward.plant.resting_fall import RestingFall, seconds_to_zero
from brineward.readings.instants import MINUTE, SECOND


@pytest.mark.parametrize(("begin", "outdoors"), [(9.0, -14.0), (5.0, -1.0), (12.0, -30.0)])
def test_the_time_to_zero_is_newtons(begin: float, outdoors: float) -> None:
    """A body stepped second by second towards the outdoors is at 0 degC when it was predicted."""
    share = 1 / 4400.0
    foretold = seconds_to_zero(begin, share * (begin - outdoors), outdoors)
    value, seconds = begin, 0
    while value > 0.0:
        value -= share * (value - outdoors)
        seconds += 1
    assert foretold == pytest.approx(seconds, rel=1e-3)
    straight = seconds_to_zero(begin, share * (begin - outdoors), None)
    assert straight is not None
    assert straight < seconds


def test_it_never_freezes_where_the_outdoors_does_not() -> None:
    """Above 0 degC outdoors there is no time to tell; at or under 0 inside it is now."""
    assert seconds_to_zero(5.0, 0.01, 0.0) is None
    assert seconds_to_zero(0.0, 0.01, 4.0) == 0.0


def swung(*, hours: float, fall: float) -> tuple[RestingFall, int]:
    """A thermostat's swing: ten minutes up, ten minutes down at so many K/s, with some noise."""
    course, draw = RestingFall(10.0), random.Random(1)
    time, value = 0, 10.0
    while time < hours * 60 * MINUTE:
        time += 10 * SECOND
        value += (fall if time // (10 * MINUTE) % 2 else -fall) * 10
        course.add(time, value + draw.gauss(0.0, 0.05))
    return course, time


def test_the_usual_fall_is_the_swings() -> None:
    """Ten minutes down at 3 mK/s: that is the usual fall, within what noise adds to a fastest."""
    course, time = swung(hours=4, fall=0.003)
    usual = course.usual(time)
    assert usual is not None
    assert 0.003 < usual < 0.0042


def test_it_is_not_known_after_an_hour_and_comes_back_from_plain_data() -> None:
    """Three whole stretches are wanted; a restart goes on with the same."""
    early, time = swung(hours=1, fall=0.003)
    assert early.usual(time) is None
    course, time = swung(hours=4, fall=0.003)
    other = RestingFall(10.0)
    other.restore(course.snapshot())
    assert other.usual(time) == course.usual(time)
    assert other.now == course.now
    assert math.isclose(other.course.slope or 0.0, course.course.slope or 0.0)
