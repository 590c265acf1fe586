"""Salt that goes while nothing is loaded: a leak that a float hides, and what is none."""

import random
from collections.abc import Callable
from dataclasses import replace

import pytest

from brineward.plant.salt_at_rest import SaltAtRest
from brineward.plant.trackers import Trackers
from depots import reading
from plant.test_hopper_salt import with_hopper

LEAK_M_PER_H = 0.002
SALTS = ("salt", "level", "running")


def hours_until_told(
    bed: Callable[[float], float],
    *,
    hours: float = 120.0,
    level: Callable[[float], float] = lambda hour: 1.8,
    running: Callable[[float], bool] = lambda hour: False,
    restart_at: float = -1.0,
) -> float | None:
    """After how many hours it is losing, by a reading of each sensor a minute; None: never."""
    its = with_hopper(fills=())
    trackers, draw = Trackers(its), random.Random(3)
    for minute in range(round(hours * 60)):
        hour = minute / 60
        if minute == round(restart_at * 60):
            kept = one_of(trackers).snapshot()
            before, trackers = trackers, Trackers(its)
            for old, new in zip(before, trackers, strict=True):
                new.restore(old.snapshot())
            assert one_of(trackers).snapshot() == kept
        said = {
            "running": float(running(hour)),
            "level": level(hour) + draw.gauss(0.0, 0.001),
            "salt": bed(hour) + draw.gauss(0.0, 0.015),
        }
        for name, value in said.items():
            trackers.take(trackers.sensors[name], reading(name, minute * 60, value))
        if one_of(trackers).test.losing:
            return hour
    return None


def one_of(trackers: Trackers) -> SaltAtRest:
    [found] = trackers.salts_at_rest
    return found


def test_a_leak_that_is_topped_up_is_told_by_its_salt() -> None:
    """2 mm of bed an hour while the tank's level rests: beyond all doubt in three days or so, at
    about the rate at which it goes; a restart in between changes nothing.
    """

    def bed(hour: float) -> float:
        return 1.2 - LEAK_M_PER_H * hour

    told = hours_until_told(bed)
    assert told is not None
    assert 48 < told < 96
    assert hours_until_told(bed, restart_at=30.0) == told


@pytest.mark.parametrize(
    ("bed", "why"),
    [
        (lambda hour: 1.2, "it rests"),
        (lambda hour: 1.2 if hour < 50 else 0.9, "it slumped at once"),
        (lambda hour: 1.2 - 0.1 * min(8, hour // 10), "it slumped again and again"),
        (lambda hour: 0.5 + 0.2 * (hour // 24), "it was filled"),
    ],
)
def test_what_is_no_leak_is_not_told(bed: Callable[[float], float], why: str) -> None:
    """A rod's noise, a bed that slumps or bridges, a filling: none is brine that went."""
    assert hours_until_told(bed) is None, why


def test_what_loads_take_is_no_leak() -> None:
    """The same fall, all of it while a pump runs and in the two hours after it."""

    def bed(hour: float) -> float:
        used = (hour // 6) + min(1.0, (hour % 6) / 2)
        return 1.8 - 0.012 * used * LEAK_M_PER_H / 0.002

    assert hours_until_told(bed, running=lambda hour: hour % 6 < 1) is None


def test_without_a_switch_on_each_pump_it_is_not_judged() -> None:
    """Nobody could tell a load from a leak."""
    its = with_hopper(fills=())
    assert len(Trackers(its).salts_at_rest) == 1
    for missing in SALTS:
        sensors = {name: one for name, one in its.sensors.items() if name != missing}
        assert Trackers(replace(its, sensors=sensors)).salts_at_rest == []
