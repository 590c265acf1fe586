"""The bed of salt in a hopper: its height, its fillings, its use, through a sensor's noise."""

import random
from collections.abc import Callable
from dataclasses import replace

import pytest

from brineward.plant.hopper_salt import HopperSalt, hopper_salts
from brineward.plant.plan import DepotPlan, Measure, Vessel, VesselKind
from brineward.plant.recent_use import WEEKEND
from brineward.plant.sensors import SensorTracker
from brineward.plant.shapes import UprightCylinder
from brineward.readings.instants import DAY, HOUR, MINUTE, SECOND
from depots import START, plan, reading, sensor


def with_hopper(**changes: object) -> DepotPlan:
    """Tern Hollow with a hopper of 2 m whose bed is measured once a minute."""
    its = plan(**changes)
    hopper = Vessel(
        id="hopper", kind=VesselKind.HOPPER, shape=UprightCylinder(diameter_m=2.0), brim_m=1.8
    )
    salt = sensor(
        "salt",
        Measure.SALT_LEVEL,
        "hopper",
        low=0.0,
        high=2.0,
        standard_uncertainty=0.03,
        every_seconds=60.0,
        silent_after_seconds=210.0,
    )
    return replace(
        its, vessels={**its.vessels, "hopper": hopper}, sensors={**its.sensors, "salt": salt}
    )


def tracked(
    bed: Callable[[float], float], hours: float, seed: int = 1
) -> tuple[HopperSalt, SensorTracker]:
    """What is known of a bed whose height is a function of the hours gone, with 15 mm of noise."""
    its = with_hopper()
    one = SensorTracker(its.sensors["salt"])
    (salt,) = hopper_salts(its, {"salt": one})
    draw = random.Random(seed)
    for minute in range(round(hours * 60)):
        said = reading("salt", minute * 60, bed(minute / 60) + draw.gauss(0.0, 0.015))
        one.take(said)
        salt.takes["salt"](said.time, said.value or 0.0)
    return salt, one


@pytest.mark.parametrize("seed", range(5))
def test_the_use_of_a_day_is_known_through_the_noise(seed: int) -> None:
    """0.4 m a day, with a filling in between that counts as none of it."""

    def bed(hour: float) -> float:
        return 0.9 - 0.4 * hour / 24 + (0.5 if hour >= 20 else 0.0)

    salt, _ = tracked(bed, 48, seed)
    use = salt.use_m_per_s(START + 48 * HOUR)
    assert use is not None
    assert use * 86400 == pytest.approx(0.4, rel=0.1)
    assert salt.bed_m == pytest.approx(0.6, abs=0.02)
    assert salt.filled == pytest.approx(START + 20 * HOUR, abs=10 * MINUTE)


@pytest.mark.parametrize("seed", range(5))
def test_a_bed_that_rests_is_neither_used_nor_filled(seed: int) -> None:
    """Three days of noise: no use, no filling, no half."""
    salt, _ = tracked(lambda hour: 1.1, 72, seed)
    assert salt.use_m_per_s(START + 72 * HOUR) is None
    assert salt.filled < START + 10 * MINUTE
    assert not salt.halved


def test_a_night_of_storm_is_one_of_three_in_the_use_before_a_weekend() -> None:
    """0.4 m in the last ten hours: 0.4 m a day by the last day, 0.15 m by the last 66 hours."""
    salt, _ = tracked(lambda hour: 1.2 - 0.04 * max(0.0, hour - 62), 72)
    day, longer = (salt.use_m_per_s(START + 72 * HOUR, over) for over in (DAY, WEEKEND))
    assert day is not None
    assert longer is not None
    assert day * 86400 == pytest.approx(0.4, rel=0.12)
    assert longer * 86400 == pytest.approx(0.4 * 24 / 66, rel=0.12)


def test_nothing_is_said_of_the_use_before_half_a_day_is_known() -> None:
    """One load in the first hour is no rate of use."""
    salt, _ = tracked(lambda hour: 1.1 - 0.1 * hour, 3)
    assert salt.use_m_per_s(START + 3 * HOUR) is None


def test_buckets_one_after_another_are_one_filling() -> None:
    """A quarter of an hour of buckets: the hopper is as full as it was after the last of them."""
    salt, _ = tracked(lambda hour: 0.6 + 0.6 * min(max((hour - 2) * 4, 0.0), 1.0), 5)
    assert salt.full_m == pytest.approx(1.2, abs=0.03)
    assert START + 2 * HOUR <= salt.filled <= START + 2 * HOUR + 15 * MINUTE


def test_half_is_half_of_the_last_filling_and_is_over_with_the_next() -> None:
    """It fell under half at five hours; the filling at eight ends it."""

    def bed(hour: float) -> float:
        return 1.2 - 0.13 * hour if hour < 8 else 1.1

    salt, _ = tracked(bed, 7)
    assert salt.halved == pytest.approx(START + 4.8 * HOUR, abs=20 * MINUTE)
    salt, _ = tracked(bed, 9)
    assert not salt.halved


def test_a_bed_that_was_not_seen_for_hours_is_known_anew() -> None:
    """What the sensor said before its silence is not mixed with what it says after it."""
    its = with_hopper()
    one = SensorTracker(its.sensors["salt"])
    (salt,) = hopper_salts(its, {"salt": one})
    for minute in [*range(20), *range(300, 305)]:
        said = reading("salt", minute * 60, 0.4 if minute < 20 else 1.2)
        one.take(said)
        salt.takes["salt"](said.time, said.value or 0.0)
    assert salt.bed_m == pytest.approx(1.2)


def test_what_is_left_is_weighed_by_the_hoppers_own_shape() -> None:
    """A metre of bed two metres wide is pi m3: 3.8 t of loose salt."""
    salt, _ = tracked(lambda hour: 1.0, 1)
    assert salt.salt_kg() == pytest.approx(3770, rel=0.02)


def test_it_goes_on_from_its_snapshot() -> None:
    """A restart in the middle forgets nothing, and its memory is bounded."""
    salt, one = tracked(lambda hour: 1.3 - 0.01 * hour, 90)
    again = HopperSalt(salt.vessel, one)
    again.restore(salt.snapshot())
    assert again.snapshot() == salt.snapshot()
    assert len(salt.snapshot()[3]) <= WEEKEND // HOUR + 2
    later = START + 90 * HOUR + 5 * SECOND
    assert again.use_m_per_s(later) == salt.use_m_per_s(later)
