"""Water that comes in while nothing runs and shows nowhere: a leak that a float hides, and what is
none."""

import math
import random
from dataclasses import dataclass, field, replace

import pytest

from brineward.plant.plan import DepotPlan, Measure
from brineward.plant.trackers import Trackers, restore, snapshots
from brineward.plant.water_at_rest import WaterAtRest, found_share, smallest_by_water_m3_per_h
from brineward.published import density_rows
from brineward.readings.entries import ModeSet
from brineward.readings.modes import Mode
from depots import DEPOT, START, reading, sensor
from plant.test_hopper_salt import with_hopper

MAIN_M2, HOPPER_M2 = math.pi * 1.2**2, math.pi * 1.0**2
FOUND = 0.965
"""Of the water, by volume, so much raises levels: see the test of it."""
FILL = 3.24
"""m3/h: 0.9 L/s."""


def with_water(**changes: object) -> DepotPlan:
    """Tern Hollow with a level in its hopper and a meter in its water line, minute by minute."""
    its = with_hopper()
    every = {"every_seconds": 60.0, "silent_after_seconds": 210.0}
    level = replace(its.sensors["level"], standard_uncertainty=0.003 / math.sqrt(3), **every)
    other = replace(level, id="hopper-level", at="hopper", standard_uncertainty=0.01 / math.sqrt(3))
    meter = sensor(
        "water", Measure.FLOW, "hopper", standard_uncertainty=1e-6 / math.sqrt(3), **every
    )
    kept = {name: its.sensors[name] for name in ("temp", "running", "salt")}
    new = {"level": level, "hopper-level": other, "water": meter}
    return replace(its, sensors={**kept, **new}, alarms={}, **changes)


@dataclass
class Water:
    """A hopper at its weir, a tank at its float, and the water between, minute by minute."""

    its: DepotPlan = field(default_factory=with_water)
    main: float = 2.19
    hopper: float = 1.40
    flow: float = 0.0
    """m3/h of water through the meter."""
    lost: float = 0.0
    """m3/h out of the tank by a leak."""
    ghost: float = 0.0
    """m3/h that the meter shows besides."""
    running: float = 0.0
    temp: float = 9.0
    silent: tuple[str, ...] = ()
    tops_up: bool = False
    """The float lets in what is lost."""
    minutes: int = 0
    told: float | None = None
    """When it was losing first, in hours."""

    def __post_init__(self) -> None:
        """Begin."""
        self.trackers, self._draw = Trackers(self.its), random.Random(5)

    @property
    def one(self) -> WaterAtRest:
        [found] = self.trackers.waters_at_rest
        return found

    def play(self, hours: float, **changes: object) -> "Water":
        """Change what is named, and go on for so many hours."""
        for name, value in changes.items():
            setattr(self, name, value)
        for _ in range(round(hours * 60)):
            self.minutes += 1
            water = self.lost / FOUND if self.tops_up else self.flow
            out = 3.6 * 3.6 if self.running else 0.0
            self.main += (water * FOUND - self.lost - out) / 60 / MAIN_M2
            self._say(water + self.ghost)
            if self.one.test.losing and self.told is None:
                self.told = self.minutes / 60
        return self

    def _say(self, metered: float) -> None:
        gauss = self._draw.gauss
        said = {
            "running": self.running,
            "temp": self.temp,
            "level": self.main + gauss(0.0, 0.0012),
            "hopper-level": self.hopper + gauss(0.0, 0.003),
            "water": metered / 3600 * (1 + gauss(0.0, 0.005)),
        }
        for name, value in said.items():
            if name not in self.silent:
                at = self.minutes * 60
                self.trackers.take(self.trackers.sensors[name], reading(name, at, value))

    def load(self, trucks: int = 1) -> "Water":
        """Trucks of 1.3 m3, and the fill that follows: 25 minutes for each."""
        self.play(0.1 * trucks, running=1.0, tops_up=False)
        fill = 0.1 * trucks * 12.96 / FOUND / FILL
        return self.play(fill, running=0.0, flow=FILL).play(0.0, flow=0.0)

    def restart(self) -> "Water":
        """Another process goes on from what this one remembered."""
        kept = snapshots(self.trackers)
        self.trackers = Trackers(self.its)
        assert restore(self.trackers, kept) == []
        return self


LEAK = {"lost": 0.020, "tops_up": True}
"""20 L/h that the float tops up."""


# -- what is told


def test_a_leak_that_a_float_hides_is_told_within_half_a_day() -> None:
    """20 L/h: at about its rate, and as well with a restart in between."""
    world = Water().play(3.0).play(12.0, **LEAK)
    assert world.told is not None
    assert 3.0 < world.told < 15.0
    assert world.one.rate_m3_per_h == pytest.approx(0.020, rel=0.1)
    again = Water().play(3.0).play(5.05, **LEAK).restart().play(6.95)
    assert again.told == world.told
    assert again.one.snapshot() == world.one.snapshot()


def test_it_is_told_though_trucks_load_between() -> None:
    """A load every six hours, each filled again at once: within a day and a half."""
    world = Water()
    for _ in range(6):
        world.play(0.0, lost=0.0).load().play(5.5, **LEAK)
    assert world.told is not None
    assert world.told < 36.0


def test_a_fill_that_runs_away_is_told_within_two_hours() -> None:
    """Over a brim, or down a drain: water comes in at its full rate and raises nothing."""
    world = Water().play(3.0).play(2.0, flow=FILL, lost=FILL * FOUND)
    assert world.told is not None
    assert world.told < 5.0


def test_it_has_stopped_once_the_water_stands() -> None:
    """As much without water as there was with it."""
    world = Water().play(18.0, **LEAK)
    assert world.one.test.losing
    assert not world.play(18.0, lost=0.0, tops_up=False).one.test.losing


# -- what is none


def test_fills_that_raise_the_levels_are_none() -> None:
    """Trucks every few hours for days; and 8 m3 at a time, by a meter that counts 6 % too much."""
    world, most = Water(), 0.0
    for number in range(32):
        world.load(1 + number % 4).play(2.5)
        most = max(most, world.one.test.evidence_m)
    assert world.told is None
    world = Water()
    for _ in range(12):
        world.play(0.6, running=1.0)
        world.play(0.6 * 12.96 / FOUND / FILL, running=0.0, flow=FILL, ghost=0.06 * FILL)
        world.play(2.5, flow=0.0, ghost=0.0)
        most = max(most, world.one.test.evidence_m)
    assert world.told is None
    assert most < 0.002


def test_a_meters_ghost_within_its_accuracy_is_none() -> None:
    """3.6 L/h for a week with the water off."""
    world = Water(ghost=0.0036).play(168.0)
    assert world.told is None
    assert world.one.test.evidence_m < 0.002


def test_what_a_pump_takes_is_none() -> None:
    """The same leak, seen only while a pump runs, or with its switch silent."""
    assert Water(running=1.0, lost=-12.96).play(24.0, flow=0.03).told is None
    assert Water(silent=("running",), **LEAK).play(24.0).told is None


@pytest.mark.parametrize("name", ["water", "level", "hopper-level"])
def test_a_silent_sensor_shows_nothing(name: str) -> None:
    """Neither a leak that goes on, nor what came in meanwhile."""
    assert Water(**LEAK).play(4.0).play(24.0, silent=(name,)).told is None
    world = Water().play(4.0).play(4.0, silent=(name,), flow=FILL, lost=FILL * FOUND)
    assert world.play(4.0, silent=(), flow=0.0, lost=0.0).told is None


@pytest.mark.parametrize("mode", [Mode.DRAINING, Mode.LAID_UP, Mode.FILLING_UP])
def test_a_plant_that_is_emptied_or_filled_up_loses_nothing(mode: Mode) -> None:
    """Nor is what was seen meanwhile counted when it is in service again."""
    world = Water()
    act = ModeSet(depot=DEPOT, time=0, received=0, mode=mode, by="yard")
    world.trackers.mode.set(act, START)
    world.play(24.0, **LEAK)
    assert world.told is None
    world.trackers.mode.set(replace(act, mode=Mode.IN_SERVICE), START)
    assert world.play(12.0, lost=0.0, tops_up=False).told is None


def test_a_hopper_that_is_flushed_is_none() -> None:
    """Drained in twenty minutes, and filled again by 2.5 m3 of water an hour later."""
    world = Water().play(4.0)
    for _ in range(20):
        world.play(1 / 60, hopper=world.hopper - 0.04)
    world.play(1.0)
    for _ in range(48):
        world.main -= FILL * FOUND / 60 / MAIN_M2
        world.play(1 / 60, flow=FILL, hopper=world.hopper + FILL * FOUND / 60 / HOPPER_M2)
    assert world.play(12.0, flow=0.0).told is None
    assert world.one.test.evidence_m < 0.002


def test_salt_that_is_tipped_in_hides_no_leak() -> None:
    """A ton raises the hopper by 0.29 m; the leak is told an hour later."""
    world = Water().play(6.0, **LEAK).play(9.5, hopper=1.69)
    assert world.told is not None
    assert world.told < 15.5


def test_a_tank_that_warms_hides_no_leak_and_one_that_cools_has_none() -> None:
    """By 3 K in eighteen hours; its level follows, and the thermometer says why."""
    for kelvin, leak in ((3.0, 0.020), (-3.0, 0.0)):
        world = Water(lost=leak, tops_up=True)
        for _ in range(108):
            world.temp += kelvin / 108
            world.main *= 1 + 4.2e-4 * kelvin / 108
            world.play(1 / 6)
        assert (world.told is not None) is (leak > 0.0)


# -- what is known beforehand


def test_the_smallest_leak_that_check_promises_is_told_in_time() -> None:
    """And half of it is not."""
    its = with_water()
    leak = smallest_by_water_m3_per_h(its, 12)
    assert leak is not None
    # By hand: levels 8 mm on 4.52 m2 and 22 mm on 3.14 m2, 78 L; their noise 57 L of a level a
    # minute; 13 L for a hopper of unknown temperature; in 10.9 h less what fades; 1.5 L/h that
    # standing tanks lose and 3.6 L/h of the meter; 96.5 of 89.5 %.
    assert leak == pytest.approx(0.020, abs=0.002)
    assert (Water(lost=leak * 1.02, tops_up=True).play(12.5).told or 99.0) < 12.5
    assert Water(lost=leak / 2, tops_up=True).play(12.0).told is None


def test_so_much_of_the_water_raises_levels_as_the_published_densities_have_it() -> None:
    """1 kg of water and its salt, at 2,165 kg/m3 before and as brine after."""
    for strength in (0.20, 0.24):
        [row] = [
            one
            for one in density_rows()
            if (one.source, one.mass_fraction, one.temperature_c) == ("PORADNIK", strength, 10.0)
        ]
        salt = strength / (1 - strength)
        brine = (1 + salt) / row.density_kg_per_m3
        assert found_share(strength) == pytest.approx((brine - salt / 2165) / 1e-3, abs=0.002)


@pytest.mark.parametrize("missing", ["water", "level", "hopper-level", "running"])
def test_without_any_of_its_sensors_it_is_not_judged(missing: str) -> None:
    """Nobody could tell where the water went."""
    its = with_water()
    assert len(Trackers(its).waters_at_rest) == 1
    fewer = replace(its, sensors={n: one for n, one in its.sensors.items() if n != missing})
    assert Trackers(fewer).waters_at_rest == []
    assert smallest_by_water_m3_per_h(fewer, 12) is None
