"""A fill that brings weak brine is announced while it runs, before the batch is lost."""

import random

import pytest

from brineward.alarms.registry import coverage
from brineward.engine.engine import Engine
from brineward.plant.fill_mix import LAG_SECONDS
from brineward.readings.instants import MINUTE
from brineward.readings.outputs import AlarmChanged, AlarmState, Output, TextDue
from brineward.wording.segment import segment
from depots import START, brine, plan, reading
from engine.scripted import with_sensors

FILL, WEAK = "fill-weak", "brine-weak"
AREA = 4.5239
FILLS, PUMPS = 0.9e-3, 3.6e-3


class Tank:
    """A stirred tank that is loaded from and refilled by its float; the probe lags behind it."""

    def __init__(
        self,
        mix: float,
        *,
        loads: tuple[int, ...] = (60,),
        seed: int = 1,
        lag: float = 720.0,
        reads: float = 1.0,
        celsius: float = 8.0,
        takes: float = 15.0,
        scatter: float = 0.03,
    ) -> None:
        """`mix` comes in from the first load on; each load begins at its minute."""
        self.mix, self.loads, self.lag, self.reads, self.celsius = mix, loads, lag, reads, celsius
        self.takes, self.scatter = takes, scatter
        self.engine = Engine({"tern-hollow": with_sensors("level", "cond", "temp")})
        self.level, self.tank, self.probe = 2.19, 0.2325, 0.2325
        self.seconds, self.plume = 0, 0.0
        self.outputs: list[Output] = []
        self.passed: dict[float, float] = {}
        """The minute at which the tank was first under these strengths."""
        self._draw = random.Random(seed)

    def until(self, minutes: float) -> "Tank":
        """Play on, ten seconds a step."""
        while self.seconds < minutes * 60:
            self._flow(10.0)
            seen = self.probe - (self.plume if self.filling else 0.0)
            for name, value, noise in (
                ("level", self.level, 0.003),
                ("temp", self.celsius, 0.03),
                ("cond", brine(seen, self.celsius) * self.reads, self.scatter),
            ):
                said = reading(name, self.seconds, value + self._draw.gauss(0.0, noise))
                self.outputs += self.engine.step(said)
            self.seconds += 10
        return self

    def _flow(self, step: float) -> None:
        minute = self.seconds / 60
        pumping = any(load <= minute < load + self.takes for load in self.loads)
        self.filling = self.level < 2.19 and minute >= self.loads[0]
        come = FILLS * step if self.filling else 0.0
        held = AREA * self.level
        self.tank += (self.mix - self.tank) * come / (held + come)
        self.level += (come - (PUMPS * step if pumping else 0.0)) / AREA
        self.probe += (self.tank - self.probe) * step / self.lag
        for strength in (0.22, 0.215, 0.20):
            if self.tank < strength:
                self.passed.setdefault(strength, minute)

    def restart(self) -> None:
        """Another process goes on."""
        kept = self.engine.snapshots()
        self.engine = Engine({"tern-hollow": with_sensors("level", "cond", "temp")})
        assert self.engine.restore(kept) == []

    def raised(self, alarm: str) -> list[float]:
        """The minutes at which it was raised."""
        return [
            (one.time - START) / MINUTE
            for one in self.outputs
            if isinstance(one, AlarmChanged)
            and one.alarm == alarm
            and one.state is AlarmState.UNACKNOWLEDGED
        ]


@pytest.mark.parametrize("lag", [240.0, 720.0, 1000.0])
@pytest.mark.parametrize("mix", [0.09, 0.12, 0.15])
def test_a_weak_mix_is_told_while_most_of_the_batch_can_be_saved(mix: float, lag: float) -> None:
    """Before the tank is under 21.5 %, whether the probe follows sooner or later than is taken."""
    tank = Tank(mix, lag=lag).until(150)
    assert len(tank.raised(FILL)) == 1
    assert tank.raised(FILL)[0] < tank.passed[0.215]


@pytest.mark.parametrize("seed", range(3))
@pytest.mark.parametrize("mix", [0.225, 0.2325, 0.26])
def test_a_good_mix_is_not_told(mix: float, seed: int) -> None:
    """A little weaker, as before, saturated: three loads in a row and their fills."""
    tank = Tank(mix, seed=seed, loads=(60, 90, 150)).until(260)
    assert tank.raised(FILL) == []


@pytest.mark.parametrize("seed", [11, 27])
def test_a_probe_that_scatters_is_no_weak_mix(seed: int) -> None:
    """By 0.9 % of its reading, five times as much as a sound one: four loads and healthy fills, in
    which it seems to fall for minutes."""
    tank = Tank(0.2325, loads=(60, 180, 300, 420), seed=seed, scatter=0.15).until(560)
    assert tank.raised(FILL) == []


def test_a_weak_mix_of_which_too_little_comes_is_not_told() -> None:
    """At 20 % a small load's fill leaves the batch inside its band: nothing is to be saved."""
    tank = Tank(0.20, takes=8.0).until(150)
    assert tank.passed == {}
    assert tank.raised(FILL) == []


@pytest.mark.parametrize("reads", [0.975, 1.02])
def test_a_probe_that_is_off_by_a_constant_finds_it_too(reads: float) -> None:
    """It is judged by how the probe moves, so 2 % of its reading hardly matter."""
    tank = Tank(0.13, reads=reads).until(130)
    assert len(tank.raised(FILL)) == 1
    assert tank.raised(FILL)[0] < tank.passed[0.215]
    assert Tank(0.2325, reads=reads).until(130).raised(FILL) == []


def test_weak_brine_is_a_consequence_while_the_fill_lasts_and_told_after_it() -> None:
    """First what to shut, then not to load from it: never both at once."""
    tank = Tank(0.12).until(220)
    (first,) = tank.raised(FILL)
    (then,) = tank.raised(WEAK)
    assert first < then
    ended = [
        (o.time - START) / MINUTE
        for o in tank.outputs
        if isinstance(o, AlarmChanged)
        and o.alarm == FILL
        and o.state is AlarmState.RETURNED_UNACKNOWLEDGED
    ]
    assert ended[0] <= then


def test_the_text_says_what_comes_in_and_what_to_do() -> None:
    """The mix within its doubt, the batch as it would be, and the water to shut."""
    tank = Tank(0.14, lag=LAG_SECONDS).until(110)
    due = next(o for o in tank.outputs if isinstance(o, TextDue))
    text = segment(due.notice)
    assert "main tank fill too weak" in text
    assert "Fill pump off (PANEL), THEN shut water" in text
    mix = float(text.split("ix about ")[1].split(" %")[0])
    batch = float(text.split("batch ")[1].split(" %")[0])
    assert mix == pytest.approx(14.0, abs=2.5)
    assert batch == pytest.approx(100 * tank.until(150).tank, abs=1.0)


@pytest.mark.parametrize("plume", [0.02, 0.05, 0.113])
def test_a_plume_at_the_probe_is_not_taken_for_the_tank(plume: float) -> None:
    """It steps as the fill begins and then stays, while a tank changes by what has come in."""
    tank = Tank(0.2325)
    tank.plume = plume
    assert tank.until(150).raised(FILL) == []


def test_without_having_seen_the_tank_at_rest_nothing_is_said() -> None:
    """A watch that begins in the middle of a fill does not know what was there before."""
    tank = Tank(0.12, loads=(0,)).until(40)
    assert tank.raised(FILL) == []


def test_a_restart_in_the_fill_changes_nothing() -> None:
    """What came in and what was there before are in what is remembered."""
    plain = Tank(0.13).until(120)
    broken = Tank(0.13).until(75)
    broken.restart()
    assert broken.until(120).raised(FILL) == plain.raised(FILL) != []


def test_where_it_is_covered() -> None:
    """By probe, thermometer and level; without one it is blind, and says which."""
    (known,) = [one for one in coverage(plan()) if one.alarm == FILL]
    assert (known.how, known.by) == ("covered", ("cond", "temp", "level"))
    (blind,) = [one for one in coverage(with_sensors("cond", "temp")) if one.alarm == FILL]
    assert (blind.how, blind.would_help) == ("blind", "a level in main")
