"""Each fill is weak while nobody fills the hopper: that is one cause, and is announced once."""

import pytest

from alarms.test_fill_weak import FILL, Tank
from brineward.engine.engine import Engine
from brineward.readings.outputs import AlarmChanged, AlarmState
from depots import reading
from plant.test_hopper_salt import with_hopper

LOADS = (90, 330, 570)
"""Minutes: each is over, and its fill, before the next."""


class Salted(Tank):
    """The tank beside a hopper whose bed is read, too."""

    def __init__(self, bed_m: float, mix: float) -> None:
        super().__init__(mix, loads=LOADS)
        self.engine = Engine({"tern-hollow": with_hopper()})
        self.bed_m = bed_m

    def _flow(self, step: float) -> None:
        super()._flow(step)
        if self.seconds % 60 == 0:
            self.outputs += self.engine.step(reading("salt", self.seconds, self.bed_m))


def held_back(tank: Tank) -> list[str]:
    """By what it was held back, each time."""
    return [
        one.why
        for one in tank.outputs
        if isinstance(one, AlarmChanged)
        and one.alarm == FILL
        and one.state is AlarmState.SUPPRESSED
    ]


def test_with_an_empty_hopper_the_second_and_third_weak_fill_are_not_announced() -> None:
    """The first says what low salt has come to; the others say whose consequence they are."""
    tank = Salted(0.2, 0.12).until(800)
    assert len(tank.raised("salt-low")) == 1
    assert len(tank.raised(FILL)) == 1
    assert held_back(tank)
    assert set(held_back(tank)) == {"salt-low"}


def test_with_salt_in_the_hopper_each_weak_fill_is_announced() -> None:
    """Somebody moves a blend valve each time: nothing else says so."""
    tank = Salted(1.0, 0.12).until(800)
    assert tank.raised("salt-low") == []
    assert len(tank.raised(FILL)) == 3


def test_a_weak_fill_after_a_good_one_is_announced() -> None:
    """Salt is low all the while, and the second fill is good: the third is something new."""
    tank = Salted(0.4, 0.12).until(300)
    tank.mix, tank.tank, tank.probe = 0.25, 0.2325, 0.2325
    tank.until(540)
    tank.mix = 0.10
    tank.until(800)
    assert len(tank.raised(FILL)) == 2


@pytest.mark.parametrize("bed_m", [1.2])
def test_once_the_hopper_was_filled_a_weak_fill_is_announced(bed_m: float) -> None:
    """Low salt has cleared; what is weak now has another cause."""
    tank = Salted(0.2, 0.12).until(300)
    tank.bed_m = bed_m
    tank.until(800)
    assert len(tank.raised(FILL)) >= 2
