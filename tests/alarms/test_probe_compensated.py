"""A transmitter that compensates is known by its readings, or by their course."""

import math
import random
from collections.abc import Callable

import pytest

from alarms.test_probe_at_rest import slow
from brineward.engine.engine import Engine
from brineward.readings.instants import HOUR
from brineward.readings.outputs import AlarmChanged, AlarmState, Output
from depots import START, brine, reading

ALARM, UNKNOWN = "probe-compensated", "strength-unknown"
Course = Callable[[float], float]
Probe = Callable[[float, float], float]
SLOW = slow()


def plain(strength: float, celsius: float) -> float:
    """Conductivity as it is."""
    return brine(strength, celsius)


def swinging(mean: float, by: float, hours: float) -> Course:
    """Up and down about a mean."""
    return lambda hour: mean + by * math.sin(2 * math.pi * hour / hours)


def compensating(share: float, reference_c: float = 25.0) -> Probe:
    """By a share a kelvin, as the formula of transmitters has it."""
    return lambda strength, celsius: (
        brine(strength, celsius) / (1.0 + share * (celsius - reference_c))
    )


class Tank:
    """A standing tank whose temperature is a function of the hours."""

    def __init__(self, probe: Probe, celsius: Course, strength: Course = lambda _: 0.233) -> None:
        self.probe, self.celsius, self.strength = probe, celsius, strength
        self.engine = Engine({"tern-hollow": SLOW})
        self.minute = 0
        self.outputs: list[Output] = []
        self._draw = random.Random(1)

    def until(self, hours: float) -> "Tank":
        """Play on, a reading of each sensor a minute."""
        while self.minute < hours * 60:
            celsius = self.celsius(self.minute / 60)
            reads = self.probe(self.strength(self.minute / 60), celsius)
            for name, value, noise in (
                ("level", 2.1, 0.002),
                ("temp", celsius, 0.03),
                ("cond", reads, 0.02),
            ):
                said = value + self._draw.gauss(0.0, noise)
                self.outputs += self.engine.step(reading(name, self.minute * 60, said))
            self.minute += 1
        return self

    def restart(self) -> None:
        """Another process goes on."""
        kept = self.engine.snapshots()
        self.engine = Engine({"tern-hollow": SLOW})
        assert self.engine.restore(kept) == []
        assert self.engine.snapshots() == kept

    def raised(self, alarm: str) -> list[float]:
        """The hours at which it was raised."""
        return [
            round((one.time - START) / HOUR, 2)
            for one in self.outputs
            if isinstance(one, AlarmChanged)
            and one.alarm == alarm
            and one.state is AlarmState.UNACKNOWLEDGED
        ]


@pytest.mark.parametrize("share", [0.019, 0.02, 0.0215])
@pytest.mark.parametrize("celsius", [-8.0, 2.0, 9.0])
def test_readings_that_no_cold_brine_gives_but_warm_brine_does_are_named(
    share: float, celsius: float
) -> None:
    """At once, and instead of "more than any brine can": one cause, one text."""
    tank = Tank(compensating(share), lambda _: celsius).until(2)
    (told,) = tank.raised(ALARM)
    assert told <= 0.3
    assert tank.raised(UNKNOWN) == []


def test_a_probe_that_does_not_follow_the_temperature_is_named_by_that() -> None:
    """Compensated to 20 degC, in a warm tank: eight kelvin in three days show it."""
    swing = swinging(21.0, 4.0, 72.0)
    tank = Tank(compensating(0.02, 20.0), swing).until(72)
    assert len(tank.raised(ALARM)) == 1


@pytest.mark.parametrize("mean", [-4.0, 8.0, 20.0])
def test_a_plain_probe_is_never_named(mean: float) -> None:
    """It follows, even while the strength changes by half a percent with each swing."""
    swing = swinging(mean, 5.0, 48.0)
    strength = swinging(0.233, -0.005, 48.0)
    assert Tank(plain, swing, strength).until(60).raised(ALARM) == []


@pytest.mark.parametrize("factor", [1.25, 1.9])
def test_a_probe_that_just_reads_too_much_is_not_named(factor: float) -> None:
    """A wrong cell constant: it follows the temperature, or is far from what 25 degC would give."""
    tank = Tank(
        lambda strength, celsius: factor * brine(strength, celsius),
        lambda hour: 12.0 - 10.0 * min(hour / 30, 1.0),
    ).until(31)
    changes = [o for o in tank.outputs if isinstance(o, AlarmChanged) and o.alarm == ALARM]
    assert not changes or changes[-1].state is not AlarmState.UNACKNOWLEDGED
    assert tank.raised(UNKNOWN)


def test_it_clears_when_the_compensation_is_switched_off() -> None:
    """Its readings are a cold brine's again."""
    tank = Tank(compensating(0.02), lambda _: 5.0).until(1)
    assert len(tank.raised(ALARM)) == 1
    tank.probe = plain
    tank.until(3)
    changes = [o for o in tank.outputs if isinstance(o, AlarmChanged) and o.alarm == ALARM]
    assert changes[-1].state is AlarmState.RETURNED_UNACKNOWLEDGED


def test_a_restart_changes_nothing() -> None:
    """What its readings did with the temperature is remembered."""
    swing = swinging(21.0, 4.0, 48.0)
    one = Tank(compensating(0.02, 20.0), swing).until(60)
    two = Tank(compensating(0.02, 20.0), swing).until(11)
    two.restart()
    assert two.until(60).raised(ALARM) == one.raised(ALARM) != []
