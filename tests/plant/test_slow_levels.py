"""How fast a level creeps, beneath its noise; and when the creep has stopped."""

import json
import random

import pytest

from brineward.plant.levels import LevelTracker
from brineward.plant.sensors import SensorTracker
from brineward.plant.slow_levels import SlowLevel
from brineward.readings.instants import HOUR, SECOND
from depots import START, plan

MM_AN_HOUR = 0.001 / 3600


class Gauge:
    """A main tank's level, read every ten seconds with its noise."""

    def __init__(self, seed: int = 1, *, noise: float = 0.0012) -> None:
        its = plan()
        sensor = its.sensors["level"]
        self.level = LevelTracker(its, its.vessels["main"], SensorTracker(sensor))
        self.slow = SlowLevel(self.level)
        self.now, self.true = START, 1.5
        self._random, self._noise = random.Random(seed), noise

    def run(self, hours: float, rate: float = 0.0) -> "Gauge":
        """Time passes, the level moving by so many m/s."""
        for _ in range(round(hours * 360)):
            self.now += 10 * SECOND
            self.true += 10 * rate
            said = self.true + self._random.gauss(0.0, self._noise)
            for tracker in (self.level, self.slow):
                tracker.takes["level"](self.now, said)
        return self

    @property
    def rate(self) -> float | None:
        """As it is judged now."""
        return self.slow.rise_m_per_s


@pytest.mark.parametrize("rate", [-60.0, -9.0, 6.0, 15.0, 30.0, 120.0])
@pytest.mark.parametrize("seed", range(5))
def test_a_creep_is_measured(rate: float, seed: int) -> None:
    """From 6 mm an hour up, to a quarter, in noise of 1.2 mm and an accuracy of 5 mm."""
    gauge = Gauge(seed).run(2.0).run(1.5, rate * MM_AN_HOUR)
    assert gauge.rate == pytest.approx(rate * MM_AN_HOUR, rel=0.25)


@pytest.mark.parametrize("seed", range(10))
def test_a_level_that_rests_is_known_to_rest(seed: int) -> None:
    """Unknown for its first quarter of an hour, then nothing, through six hours of noise."""
    gauge = Gauge(seed).run(0.2)
    assert gauge.rate is None
    for _ in range(12):
        assert gauge.run(0.5).rate == 0.0


@pytest.mark.parametrize("seed", range(10))
def test_what_has_stopped_is_no_creep(seed: int) -> None:
    """A load of half a metre: ten minutes after it nothing falls any more, nor later on."""
    gauge = Gauge(seed).run(1.0).run(0.2, -0.5 / 720).run(10 / 60)
    for _ in range(20):
        assert gauge.rate == 0.0
        gauge.run(0.1)


def test_that_it_has_stopped_is_known_within_minutes() -> None:
    """Four minutes after the load, though its last five minutes still show a fall."""
    gauge = Gauge().run(1.0).run(0.2, -0.5 / 720)
    assert gauge.rate == pytest.approx(-0.5 / 720, rel=0.05)
    assert gauge.run(4 / 60).rate == 0.0


def test_written_down_and_read_back_it_goes_on_the_same() -> None:
    """Anywhere within a stretch."""
    for tenths in range(7):
        one, other = Gauge().run(1.0, 30 * MM_AN_HOUR).run(tenths / 60), Gauge()
        for name in ("level", "slow"):
            getattr(other, name).restore(json.loads(json.dumps(getattr(one, name).snapshot())))
        other.now, other.true = one.now, one.true
        other._random.setstate(one._random.getstate())
        assert other.rate == one.rate
        assert other.run(0.4, 30 * MM_AN_HOUR).rate == one.run(0.4, 30 * MM_AN_HOUR).rate
        assert other.slow.snapshot() == one.slow.snapshot()


def test_its_memory_is_bounded() -> None:
    """A sensor that reports ten times a second for a day is no more than one that is slow."""
    gauge = Gauge()
    for step in range(60_000):
        gauge.slow.takes["level"](START + step * 100, 1.5)
    _, _, values, medians = gauge.slow.snapshot()
    assert len(values) <= 60
    for step in range(100):
        gauge.slow.takes["level"](START + 2 * HOUR + step * HOUR // 12, 1.5)
    assert len(gauge.slow.snapshot()[3]) <= 25
    assert medians
