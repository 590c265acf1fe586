"""A step of the probe: noise alone never looks like one, however long; a film does at once."""

import math
import random

import pytest

from brineward.physics.conductivity import slope_in_mass_fraction
from brineward.physics.fed import Fed
from brineward.plant.sensors import SensorTracker
from brineward.plant.sudden_step import EACH_SIDE, SuddenStep
from brineward.plant.trackers import Trackers
from brineward.readings.instants import SECOND
from depots import START, brine, plan, reading

TARGET, CELSIUS = 0.233, 5.0
HALF_MINUTE = 30
NOISE = 0.0013
"""Mass fraction: a probe of 400 mS/cm with noise of a thousandth of its end, in brine of 5 degC."""


class Noisy:
    """A probe in a tank into which a fill came, a reading each half minute."""

    def __init__(self, seed: int) -> None:
        self.probe = Trackers(plan()).probes["main"]
        self.steps = SuddenStep(self.probe, TARGET)
        self.factor, self.second = 1.0, 0
        self.probe.came = Fed(0.0, 0.5, TARGET)
        self._draw = random.Random(seed)

    def play(self, half_minutes: int, noise: float = NOISE) -> list[float]:
        """Play on: what the probe was taken to have stepped by, after each reading."""
        relative = noise * slope_in_mass_fraction(TARGET, CELSIUS)
        found = []
        for _ in range(half_minutes):
            self.second += HALF_MINUTE
            for sensor, value in ((self.probe.thermometer, CELSIUS), (self._level, 2.0)):
                sensor.take(reading(sensor.plan.id, self.second, value))
            reads = brine(TARGET, CELSIUS) * self.factor * math.exp(self._draw.gauss(0.0, relative))
            self.steps.takes["cond"](START + self.second * SECOND, reads)
            found.append(self.probe.stepped)
        return found

    @property
    def _level(self) -> SensorTracker:
        assert self.probe.level is not None
        return self.probe.level.sensor


def test_noise_alone_is_no_step_in_a_fortnight() -> None:
    """Forty thousand looks at brine that stays as it is."""
    assert set(Noisy(1).play(14 * 2880)) == {0.0}


@pytest.mark.parametrize("lost", [0.015, 0.03])
def test_a_film_is_a_step_within_that_noise(lost: float) -> None:
    """Known as soon as there are three readings after it, one left out, and as large as it is."""
    noisy = Noisy(2)
    assert set(noisy.play(500)) == {0.0}
    noisy.factor = 1.0 - lost
    found = noisy.play(EACH_SIDE + 2)[-1]
    taken = lost / slope_in_mass_fraction(TARGET, CELSIUS)
    assert found == pytest.approx(-taken, abs=3 * NOISE)


def test_a_quiet_probe_still_shows_a_small_step() -> None:
    """0.4 % of strength is twenty times what this one's readings scatter by."""
    noisy = Noisy(3)
    noisy.play(100, noise=0.0002)
    noisy.factor = 0.994
    assert noisy.play(EACH_SIDE + 2, noise=0.0002)[-1] == pytest.approx(-0.0043, abs=0.0006)


def test_the_noise_is_remembered_over_a_restart() -> None:
    """Another process needs no half hour to learn it again."""
    noisy = Noisy(4)
    noisy.play(500)
    again = SuddenStep(noisy.probe, TARGET)
    assert again.snapshot() != noisy.steps.snapshot()
    again.restore(noisy.steps.snapshot())
    assert again.snapshot() == noisy.steps.snapshot()
