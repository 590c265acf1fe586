"""What a standing tank loses: leaks are announced in time, and nothing else is taken for one."""

import math
import random
from collections.abc import Callable
from dataclasses import replace
from functools import cache

import pytest
from CoolProp import CoolProp

from brineward.alarms.tank_leak import smallest_leak_m3_per_h
from brineward.physics.density import density
from brineward.plant.plan import DepotPlan
from brineward.plant.standing import StandingTracker, expansion_per_k
from brineward.plant.trackers import Trackers, restore, snapshots
from brineward.published import density_rows
from brineward.readings.entries import ModeSet
from brineward.readings.instants import HOUR, SECOND
from brineward.readings.modes import Mode
from brineward.readings.values import Reading
from depots import DEPOT, START, plan

AREA = math.pi * 2.4**2 / 4
LITRE_PER_HOUR = 1e-3 / AREA
"""Of the tank's level, m/h."""
Course = Callable[[float], float]
"""Of a value over hours."""


@cache
def minutely(*names: str, noise_m: float = 0.003 / math.sqrt(3)) -> DepotPlan:
    """Tern Hollow with a level and a thermometer that report each minute, by default."""
    whole = plan()
    chosen = {name: whole.sensors[name] for name in names or ("level", "temp", "running")}
    slow = {
        name: replace(
            one,
            every_seconds=60.0,
            silent_after_seconds=210.0,
            standard_uncertainty=noise_m if name == "level" else 0.1,
        )
        for name, one in chosen.items()
    }
    return replace(whole, sensors=slow)


class Stand:
    """A tank at rest, hour after hour, as its sensors show it."""

    def __init__(
        self, its: DepotPlan | None = None, *, seed: int = 1, noise: float = 1.2e-3
    ) -> None:
        self.trackers = Trackers(its or minutely())
        self.minutes = 0
        self.running = 0.0
        self.most_m = 0.0
        """The most that ever spoke for a loss."""
        self._draw, self._noise = random.Random(seed), noise

    @property
    def standing(self) -> StandingTracker:
        return self.trackers.standing["main"]

    @property
    def hours(self) -> float:
        return self.minutes / 60

    def say(self, **values: float) -> None:
        """A minute passes, and these sensors report."""
        self.minutes += 1
        at = START + self.minutes * 60 * SECOND
        for name, value in {"running": self.running, **values}.items():
            if name in self.trackers.sensors:
                reading = Reading(DEPOT, name, at, value, at)
                self.trackers.take(self.trackers.sensors[name], reading)

    def go(self, hours: float, level: Course, temp: Course = lambda hour: 8.0) -> float:
        """Go on so many hours; when a loss was first announced, in hours, or infinity."""
        told = math.inf
        begin = self.hours
        while self.hours < begin + hours:
            hour = self.hours
            noise = self._draw.gauss(0.0, self._noise)
            self.say(temp=temp(hour) + self._draw.gauss(0.0, 0.03), level=level(hour) + noise)
            self.most_m = max(self.most_m, self.standing.test.evidence_m)
            if self.standing.test.losing and told == math.inf:
                told = self.hours
        return told


def leaking(litres_per_hour: float, since: float = 0.0, start: float = 2.0) -> Course:
    """A steady leak."""
    return lambda hour: start - max(0.0, hour - since) * litres_per_hour * LITRE_PER_HOUR


@pytest.mark.parametrize("seed", range(5))
def test_five_gallons_an_hour_are_told_within_half_a_day(seed: int) -> None:
    """19 L/h, and the text then says how fast and since when."""
    stand = Stand(seed=seed)
    assert 12.0 < stand.go(24.0, leaking(19.0, since=12.0)) < 24.0
    test = stand.standing.test
    assert test.rate_m3_per_h == pytest.approx(0.019, rel=0.08)
    assert (test.since - START) / HOUR == pytest.approx(12.0, abs=1.0)


@pytest.mark.parametrize("within", [12, 48])
def test_the_smallest_leak_that_check_promises_is_told_in_time(within: int) -> None:
    """With the wait and the blocks that a real stretch begins with, a tenth more at most."""
    its = minutely()
    leak = smallest_leak_m3_per_h(its, its.vessels["main"], within)
    assert leak is not None
    assert Stand(its).go(within, leaking(1100 * leak)) < within + 1
    assert Stand(its).go(within, leaking(500 * leak)) == math.inf


@pytest.mark.parametrize("seed", range(2))
def test_two_litres_an_hour_are_told_within_five_days(seed: int) -> None:
    """In a tank at rest."""
    assert Stand(seed=seed).go(120.0, leaking(2.0)) < 120.0


@pytest.mark.parametrize("seed", range(3))
def test_a_tank_that_loses_nothing_is_never_told(seed: int) -> None:
    """Ten days of noise."""
    stand = Stand(seed=seed)
    assert stand.go(240.0, leaking(0.0)) == math.inf
    assert stand.standing.test.evidence_m < 0.003


@pytest.mark.parametrize("strength", [0.16, 0.20, 0.24, 0.26])
def test_expansion_is_that_of_the_published_densities(strength: float) -> None:
    """Within 4 % of what Perry's table gives between 0 and 25, and 25 and 40 degC."""
    rows = [one for one in density_rows() if one.source == "PERRY"]
    found = [one for one in rows if one.mass_fraction == strength]
    at = {one.temperature_c: one.density_kg_per_m3 for one in found}
    for cold, warm in ((0.0, 25.0), (25.0, 40.0)):
        published = 2 * (at[cold] - at[warm]) / (at[cold] + at[warm]) / (warm - cold)
        ours = expansion_per_k(strength, (cold + warm) / 2)
        assert ours == pytest.approx(published, rel=0.04)


@pytest.mark.parametrize("swing", [3.0, -3.0])
def test_a_pure_change_of_temperature_loses_nothing(swing: float) -> None:
    """The mass stays: a tank that cools by 3 K a day, then warms again, is no leak.

    The level is that of the same mass at the density of Melinder's tables (CoolProp's
    INCOMP::MNA), which are not what ours was fitted to.
    """
    at = [8.0 + swing * math.sin(math.pi * quarter / 96) for quarter in range(97 * 4)]

    def temp(hour: float) -> float:
        return at[int(hour * 4)] + (hour * 4 % 1) * (at[int(hour * 4) + 1] - at[int(hour * 4)])

    def melinder(celsius: float) -> float:
        kelvin = celsius + 273.15
        return float(CoolProp.PropsSI("D", "T", kelvin, "P", 101325, "INCOMP::MNA[0.23]"))

    mass_per_area = 2.0 * melinder(8.0)
    densities = [mass_per_area / melinder(celsius) for celsius in at]

    def level(hour: float) -> float:
        place = int(hour * 4)
        return densities[place] + (hour * 4 % 1) * (densities[place + 1] - densities[place])

    stand, worst = Stand(noise=0.0), 0.0
    swings = max(densities) - min(densities)
    assert swings > 0.002
    for hour in range(72):
        assert stand.go(1.0, level, temp) == math.inf, hour
        worst = max(worst, abs(stand.standing.test.fell_m))
    assert worst < swings / 8
    assert stand.standing.test.evidence_m < 0.0005


def test_a_sensor_by_pressure_shows_no_expansion_and_that_is_no_leak_either() -> None:
    """It warms by 24 K in eight hours: what is allowed for is doubt as well."""
    stand = Stand()
    assert stand.go(24.0, leaking(0.0), lambda hour: 2.0 + min(24.0, hour * 3)) == math.inf
    assert stand.most_m > 0.015, "more than would be told without the doubt"


def test_a_sensor_that_wanders_within_its_data_sheet_is_no_leak() -> None:
    """In twelve hours, or in two, from one end of its plus-or-minus to the other; for a week.

    It is one of 20 mm that scatters by a tenth of that, which is how it comes to be wide.
    """
    its = minutely(noise_m=0.020 / math.sqrt(3))
    for hours in (24.0, 4.0):

        def level(hour: float, period: float = hours) -> float:
            return 2.0 + 0.020 * math.sin(2 * math.pi * hour / period)

        stand = Stand(its)
        assert stand.go(168.0, level) == math.inf
        assert stand.most_m > 0.035


def test_a_plastic_tank_that_gives_way_after_a_fill_is_no_leak() -> None:
    """0.5 % of a rise of 1.5 m in a few hours: 7.5 mm, beside what the sensor may wander."""

    def level(hour: float) -> float:
        if hour < 10.0:
            return 0.6
        if hour < 12.0:
            return 0.6 + 1.5 * (hour - 10.0) / 2
        after = hour - 12.0
        return 2.1 - 0.0075 * (1 - math.exp(-after / 3)) - 0.006 * min(1.0, after / 12)

    stand = Stand()
    assert stand.go(72.0, level) == math.inf
    assert stand.most_m < 0.006


def test_foam_and_a_float_that_closes_slowly_after_a_fill_are_no_leak() -> None:
    """Every six hours a load and a fill that ends in foam of 8 mm, gone half an hour later."""

    def level(hour: float) -> float:
        phase = hour % 6
        if phase < 4.0:
            return 2.19 + (0.008 if phase < 0.5 else 0.0)
        if phase < 4.2:
            return 2.19 - 0.5 * (phase - 4.0) / 0.2
        return 1.69 + 0.508 * (phase - 4.2) / 1.8

    stand = Stand()
    for _ in range(10 * 4):
        stand.running = 0.0
        stand.go(4.0, level)
        stand.running = 1.0
        stand.go(0.2, level)
        stand.running = 0.0
        assert stand.go(1.8, level) == math.inf
    assert stand.most_m < 0.002


def test_loads_are_no_leak_even_where_no_switch_tells_of_them() -> None:
    """A truck every 2 h 50 min, 0.4 m, with the water off and no switch on the pump."""
    stand = Stand(minutely("level", "temp"))

    def level(hour: float) -> float:
        loads, since = divmod(hour, 17 / 6)
        return 2.3 - 0.4 * (loads + min(1.0, since * 6))

    assert stand.go(14.0, level) == math.inf
    assert stand.most_m < 0.002


def test_a_leak_is_told_though_trucks_load_between() -> None:
    """19 L/h, and every four hours a load that the float makes good: within a day."""
    stand = Stand()

    def level(hour: float) -> float:
        phase = hour % 4.0
        return 2.0 - 2.0 * min(phase, 0.2) - 19.0 * LITRE_PER_HOUR * phase

    told = math.inf
    for _ in range(6):
        stand.running = 1.0
        stand.go(0.2, level)
        stand.running = 0.0
        told = min(told, stand.go(3.8, level))
    assert told < 24.0


def test_what_happens_in_a_silence_is_not_counted() -> None:
    """The level comes back 0.3 m lower: a load that nobody saw."""
    stand = Stand()
    stand.go(6.0, leaking(0.0))
    stand.minutes += 60
    assert stand.go(24.0, leaking(0.0, start=1.7)) == math.inf
    assert stand.most_m < 0.002


def test_a_tank_that_is_drained_on_purpose_does_not_leak() -> None:
    """Nor is what was seen meanwhile counted when it is in service again."""
    stand = Stand()
    stand.go(2.0, leaking(0.0))
    drained = ModeSet(depot=DEPOT, time=0, received=0, mode=Mode.DRAINING, by="yard")
    stand.trackers.mode.set(drained, START)
    assert stand.go(6.0, leaking(900.0, since=2.0)) == math.inf
    stand.trackers.mode.set(replace(drained, mode=Mode.IN_SERVICE), START)
    assert stand.go(12.0, lambda hour: 1.2) == math.inf


def test_a_restart_changes_nothing() -> None:
    """Written down and read back in the middle of a block, it tells at the same minute."""
    one, other = Stand(seed=3), Stand(seed=3)
    told = one.go(20.0, leaking(19.0))
    other.go(3.55, leaking(19.0))
    kept = snapshots(other.trackers)
    other.trackers = Trackers(minutely())
    assert restore(other.trackers, kept) == []
    assert other.go(16.45, leaking(19.0)) == told
    assert one.standing.snapshot() == other.standing.snapshot()


def test_density_gives_the_expansion() -> None:
    """The expansion is the density's own slope: 1 K between two densities."""
    one, two = density(0.233, 9.5), density(0.233, 10.5)
    assert expansion_per_k(0.233, 10.0) == pytest.approx(
        (one - two) / density(0.233, 10.0), rel=1e-3
    )
