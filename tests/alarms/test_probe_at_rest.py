"""A probe that walks off in brine at rest is told as that, and never as weak or strong brine."""

import math
import random
from collections.abc import Callable
from dataclasses import replace

import pytest

from brineward.engine.engine import Engine
from brineward.plant.plan import DepotPlan
from brineward.readings.instants import HOUR, MINUTE
from brineward.readings.outputs import AlarmChanged, AlarmState, Output
from depots import START, brine, by_hand, plan, reading

WEAK, STRONG, DRIFTED = "brine-weak", "brine-strong", "probe-drifted"
Course = Callable[[float], float]


def slow() -> DepotPlan:
    """The tank alone, a reading of each sensor a minute."""
    its = plan()
    sensors = {
        name: replace(its.sensors[name], every_seconds=60.0, silent_after_seconds=210.0)
        for name in ("level", "cond", "temp")
    }
    return replace(its, sensors=sensors)


class Tank:
    """A tank whose level, strength and temperature are functions of the hours after `START`."""

    def __init__(
        self,
        *,
        strength: Course = lambda hour: 0.2325,
        factor: Course = lambda hour: 1.0,
        level: Course = lambda hour: 2.1,
        celsius: Course = lambda hour: 8.0,
        tested: bool = True,
    ) -> None:
        """`factor` is what the probe reads of the truth."""
        self.strength, self.factor, self.level, self.celsius = strength, factor, level, celsius
        self.plan = slow()
        self.engine = Engine({self.plan.id: self.plan})
        self.outputs: list[Output] = []
        self.minute, self.tested = 0, tested
        self._draw = random.Random(1)

    def until(self, hours: float) -> "Tank":
        """Play on."""
        while self.minute < hours * 60:
            hour, at = self.minute / 60, self.minute * 60
            celsius = self.celsius(hour)
            reads = brine(self.strength(hour), celsius) * self.factor(hour)
            for name, value, noise in (
                ("level", self.level(hour), 0.002),
                ("temp", celsius, 0.03),
                ("cond", reads, 0.02),
            ):
                said = value + self._draw.gauss(0.0, noise)
                self.outputs += self.engine.step(reading(name, at, said))
            self.minute += 1
            if self.tested and self.minute == 20:
                self.test()
        return self

    def test(self, *, cleaned: bool = False) -> None:
        """Somebody tests the brine as it truly is, now."""
        at = START + self.minute * MINUTE
        strength = self.strength(self.minute / 60)
        self.outputs += self.engine.step(by_hand(at, strength, cleaned=cleaned))

    def restart(self) -> None:
        """Another process goes on."""
        kept = self.engine.snapshots()
        self.engine = Engine({self.plan.id: self.plan})
        assert self.engine.restore(kept) == []

    def raised(self, alarm: str) -> list[float]:
        """The hours at which it was raised."""
        return [
            round((one.time - START) / HOUR, 2)
            for one in self.outputs
            if isinstance(one, AlarmChanged)
            and one.alarm == alarm
            and one.state is AlarmState.UNACKNOWLEDGED
        ]

    def last(self, alarm: str) -> AlarmState:
        """What it became last."""
        changes = [one for one in self.outputs if isinstance(one, AlarmChanged)]
        return [one.state for one in changes if one.alarm == alarm][-1]


def fouling(after: float, a_day: float = 0.05) -> Course:
    """Nothing is lost before so many hours, then this share a day."""
    return lambda hour: (1.0 - a_day) ** (max(0.0, hour - after) / 24)


def test_a_film_in_a_standing_tank_is_told_as_the_probes_doing() -> None:
    """5 % a day: 1 % of strength after some five hours; brine-weak is never announced."""
    tank = Tank(factor=fouling(8)).until(30)
    (told,) = tank.raised(DRIFTED)
    assert 12.0 <= told <= 17.5
    assert tank.raised(WEAK) == []
    sentences = [o.sentence for o in tank.outputs if isinstance(o, AlarmChanged)]
    assert any("probe fell 1.0 % with nothing added" in one for one in sentences)


def test_a_probe_that_reads_more_and_more_is_told_too() -> None:
    """Nor does brine at rest grow stronger."""
    tank = Tank(strength=lambda hour: 0.24, factor=fouling(8, -0.05)).until(24)
    assert len(tank.raised(DRIFTED)) == 1
    assert tank.raised(STRONG) == []


def batch(hour: float) -> float:
    """The tank is loaded from in the ninth hour and filled up again in the tenth."""
    if hour < 8:
        return 2.1
    if hour < 8.5:
        return 2.1 - 1.6 * (hour - 8)
    return min(2.1, 1.3 + 0.8 * (hour - 8.5))


def weak_batch(hour: float) -> float:
    """The strength falls as the fill brings it."""
    return 0.2325 - 0.0205 * min(max(hour - 8.5, 0.0), 1.0)


def test_brine_that_is_weak_after_a_fill_is_told_as_weak() -> None:
    """Something came in: the probe is believed."""
    tank = Tank(strength=weak_batch, level=batch).until(11)
    assert len(tank.raised(WEAK)) == 1
    assert tank.raised(DRIFTED) == []


def test_water_that_creeps_in_is_told_as_weak_brine() -> None:
    """Rain through the lid: 2 % weaker, as much as the level's rise explains; no fill is seen."""

    def level(hour: float) -> float:
        return 1.9 * 0.2325 / weaker(hour)

    def weaker(hour: float) -> float:
        return 0.2325 - 0.02 * min(max(hour - 8, 0.0) / 16, 1.0)

    tank = Tank(strength=weaker, level=level).until(30)
    assert len(tank.raised(WEAK)) == 1
    assert tank.raised(DRIFTED) == []


def test_brine_that_is_weak_from_the_beginning_is_told() -> None:
    """Nobody knows what it was before: there is nothing that the probe could have left."""
    assert len(Tank(strength=lambda hour: 0.212).until(2).raised(WEAK)) == 1


def test_weak_brine_goes_on_being_told_while_it_stands() -> None:
    """At rest it is as weak as it was when it was told."""
    tank = Tank(strength=weak_batch, level=batch).until(24)
    changes = [o for o in tank.outputs if isinstance(o, AlarmChanged) and o.alarm == WEAK]
    assert changes[-1].state is AlarmState.UNACKNOWLEDGED


def test_a_tank_that_cools_by_eight_kelvin_is_no_drift() -> None:
    """A day of cold in the shelter: the strength stays within a few tenths."""
    tank = Tank(celsius=lambda hour: 10.0 - hour / 3).until(24)
    assert tank.raised(DRIFTED) == tank.raised(WEAK) == tank.raised(STRONG) == []


def test_after_a_fill_a_probe_that_is_known_to_be_off_is_still_not_believed() -> None:
    """Until somebody tests: that gives the strength back, and weak brine is reported again."""

    def level(hour: float) -> float:
        return batch(hour - 16)

    tank = Tank(factor=fouling(8, 0.08), level=level).until(27)
    assert len(tank.raised(DRIFTED)) == 1
    assert tank.raised(WEAK) == []
    assert tank.engine.plant(tank.plan.id).probes["main"].shifted < -0.01
    assert tank.last(DRIFTED) is AlarmState.UNACKNOWLEDGED
    # A first test after a cleaning is held against physics: a probe that still read 6 % low would
    # be asked about again.
    tank.factor = lambda hour: 1.0
    tank.until(27.5)
    tank.test(cleaned=True)
    tank.until(28)
    assert tank.engine.plant(tank.plan.id).probes["main"].shifted == 0.0
    assert tank.last(DRIFTED) is AlarmState.RETURNED_UNACKNOWLEDGED


def test_a_probe_that_comes_back_by_itself_is_over() -> None:
    """A bubble that left: it reads what it did, and the alarm is cleared."""
    tank = Tank(factor=lambda hour: 0.97 if 9 < hour < 12 else 1.0).until(14)
    assert len(tank.raised(DRIFTED)) == 1
    changes = [o for o in tank.outputs if isinstance(o, AlarmChanged) and o.alarm == DRIFTED]
    assert changes[-1].state is AlarmState.RETURNED_UNACKNOWLEDGED


def test_a_tank_that_has_just_been_seen_first_is_not_at_rest() -> None:
    """After a cold start nobody knows when it moved last: six hours are waited for."""
    tank = Tank(factor=fouling(0.5, 0.4)).until(5)
    assert tank.raised(DRIFTED) == []
    assert len(tank.raised(WEAK)) == 1


@pytest.mark.parametrize("at", [5, 10, 13])
def test_a_restart_changes_nothing(at: float) -> None:
    """Before it is at rest, at rest, and while it walks off."""
    plain = Tank(factor=fouling(8)).until(18)
    broken = Tank(factor=fouling(8)).until(at)
    broken.restart()
    assert broken.until(18).raised(DRIFTED) == plain.raised(DRIFTED) != []


@pytest.mark.parametrize("share", [0.02, -0.02, 0.01])
def test_a_film_is_learned_and_told_without_a_test(share: float) -> None:
    """A step of 2 % in standing brine is named within a day, one of 1 % within two; the strength is
    then right again to 0.5 % by mass, and its interval holds the truth."""
    tank = Tank(factor=lambda hour: 1.0 if hour < 31 else 1.0 - share).until(31 + 48)
    told = [hour for hour in tank.raised(DRIFTED) if hour > 31]
    assert told
    assert told[0] < 31 + (24 if abs(share) > 0.015 else 48)
    assert tank.raised(WEAK) == tank.raised(STRONG) == []
    plant = tank.engine.plant(tank.plan.id)
    assert plant.probes["main"].shifted == pytest.approx(-share, abs=0.005)
    found = plant.strengths["main"].lately.middle(600.0)
    assert found is not None
    assert found.low < 0.2325 < found.high
    assert found.mass_fraction == pytest.approx(0.2325, abs=0.005)


def test_a_fill_is_never_told_as_a_film() -> None:
    """1 % weaker by a fill, day after day: the brine has changed, and the probe has not."""

    def level(hour: float) -> float:
        return batch(hour % 24)

    def strength(hour: float) -> float:
        return 0.2425 - 0.008 * (hour + 15.5 >= 24) - 0.008 * (hour - 8.5 >= 24)

    tank = Tank(strength=strength, level=level).until(3 * 24)
    assert tank.raised(DRIFTED) == []
    assert tank.engine.plant(tank.plan.id).probes["main"].calibration.stands.changes == []


def test_a_cooling_tank_is_no_film_and_shows_the_curve() -> None:
    """Ten kelvin down and up again in standing brine: no change is seen, and after the cold of one
    night the next one's strength is known better than from the test alone."""

    def celsius(hour: float) -> float:
        return 8.0 - 5.0 * (1 - math.cos(2 * math.pi * hour / 48))

    tank = Tank(celsius=celsius).until(72)
    assert tank.raised(DRIFTED) == []
    looked = tank.engine.plant(tank.plan.id).probes["main"].calibration
    seconds = (START + 72 * HOUR) / 1000.0
    cold = looked.factor_at(seconds, -2.0, 0.2325).standard_uncertainty
    looked.stands.thaw({"looks": [], "changes": []})
    looked.thaw(looked.freeze())
    assert cold < 0.75 * looked.factor_at(seconds, -2.0, 0.2325).standard_uncertainty


def topped_up(hour: float) -> float:
    """A tenth of the tank is loaded in the ninth hour, and filled up again at once."""
    if hour < 8:
        return 2.1
    if hour < 8.25:
        return 2.1 - 0.8 * (hour - 8)
    return min(2.1, 1.9 + 0.8 * (hour - 8.25))


@pytest.mark.parametrize("restarted", [(), (8.1, 8.3, 13.0)])
def test_what_a_fill_brought_ties_two_stands(restarted: tuple[float, ...]) -> None:
    """A tenth came in, and somewhat more while the pump drew: so much less of the strength that the
    first stand had is in the second, also where the service was restarted meanwhile."""
    tank = Tank(level=topped_up)
    for at in restarted:
        tank.until(at).restart()
    stands = tank.until(20).engine.plant(tank.plan.id).probes["main"].calibration.stands
    first, second = sorted({one.stand for one in stands.looks})
    known = stands.strengths.covariance
    stayed = known(second, first) / known(first, first)
    assert 0.80 < stayed < 0.92


def test_after_a_silence_nobody_knows_what_came_in() -> None:
    """Half an hour without a reading, while it was topped up: the next stand is on its own."""
    tank = Tank(level=topped_up).until(8)
    tank.minute += 45
    stands = tank.until(20).engine.plant(tank.plan.id).probes["main"].calibration.stands
    first, second = sorted({one.stand for one in stands.looks})
    assert stands.strengths.covariance(second, first) == 0.0


def test_a_film_that_comes_in_a_load_is_not_told_as_weak_brine() -> None:
    """A tenth came in, and it reads 12 % less: water would not do that. It is never told as weak
    brine alone, and once the brine has stood it is known by how much the probe is off."""
    tank = Tank(level=topped_up, factor=lambda hour: 1.0 if hour < 8.2 else 0.88).until(30)
    assert tank.raised(WEAK) == []
    (told,) = tank.raised(DRIFTED)
    assert 8.2 < told < 8.3
    assert tank.engine.plant(tank.plan.id).probes["main"].shifted == pytest.approx(-0.12, abs=0.02)


def test_weak_brine_that_a_top_up_could_have_brought_is_told_as_weak() -> None:
    """A tenth of water came in: 2 % weaker, and told within minutes of its standing still."""

    def strength(hour: float) -> float:
        return 0.2325 - 0.08 * min(max(hour - 8.25, 0.0), 0.25)

    tank = Tank(level=topped_up, strength=strength).until(30)
    (told,) = tank.raised(WEAK)
    assert told < 8.75
    assert tank.raised(DRIFTED) == []


def test_while_it_is_filled_the_probe_speaks_for_itself() -> None:
    """What came in draws the strength told only once the tank has settled: a mix is judged by how
    the probe moves."""
    tank = Tank(level=topped_up).until(8.4)
    probe = tank.engine.plant(tank.plan.id).probes["main"]
    read = brine(0.236, 8.0)

    def told(holding: bool) -> float:
        now = START + tank.minute * MINUTE
        return probe.strength(now, read, 8.0, holding=holding).mass_fraction

    assert probe.came is not None
    assert told(True) == told(False)
    tank.until(10)
    assert told(True) < told(False) - 0.0003
