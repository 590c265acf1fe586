"""Tank nearing overflow, scripted: healthy fills, floats that stick, pumps, no fill mark."""

import math
from collections.abc import Callable
from dataclasses import replace

import pytest

from brineward.plant.plan import AlarmSettings, DepotPlan, Measure, Vessel, VesselKind
from brineward.plant.shapes import UprightCylinder
from depots import sensor
from engine.scripted import BRIM_M, Script, World, text_of, with_sensor, with_sensors

ALARM = "overflow-ahead"
SEEDS = 200
MARK_M = 2.2
AREA_M2 = 4.524
THREE_MINUTES = 180.0


def fill_up(
    seed: int,
    *,
    sensors: DepotPlan | None = None,
    noise: float = 0.003,
    float_shuts_at: float | None = None,
    fill: float = 0.9e-3,
    extra: float = 0.0,
    level: float = 2.1,
) -> tuple[float | None, Script]:
    """Fill the tank till it stands or runs over; when it was at the brim, and the run."""
    world = World(level=level + seed % 10 * 1e-3, noise={"level": noise}, fill=fill, extra=extra)
    world.float_shuts_at = float_shuts_at
    script = Script(sensors or with_sensors("level"), seed=seed, world=world)
    while world.level < BRIM_M and (world.fill or world.extra):
        script.run(script.now + 10)
    if world.level < BRIM_M:
        script.run(script.now + 900)
        return None, script
    return script.now, script


@pytest.mark.parametrize("noise", [0.003, 0.006])
@pytest.mark.parametrize("run_on", [0.0, 0.02, 0.05])
def test_a_healthy_fill_raises_nothing(run_on: float, noise: float) -> None:
    """Filled to the mark and up to 5 cm of run-on, with noise up to twice the declared: silence."""
    for seed in range(SEEDS):
        brim, script = fill_up(seed, noise=noise, float_shuts_at=MARK_M + run_on)
        assert brim is None
        assert script.raised(ALARM) == [], seed


def test_a_tank_that_stands_at_the_end_of_its_run_on_for_a_week_raises_nothing() -> None:
    """Standing right at the highest healthy level, noise alone never makes it an alarm."""
    slow = with_sensor(with_sensors("level"), "level", every_seconds=30.0)
    script = Script(slow, world=World(level=2.25, noise={"level": 0.003}))
    assert script.run(7 * 86_400).raised(ALARM) == []


@pytest.mark.parametrize("noise", [0.003, 0.006])
def test_a_float_that_does_not_shut_is_raised_three_minutes_before_the_brim(noise: float) -> None:
    """In 200 seeds each a runaway fill is announced once, and long enough before it runs over."""
    for seed in range(SEEDS):
        brim, script = fill_up(seed, noise=noise, level=2.18)
        assert brim is not None
        (raised,) = script.raised(ALARM)
        assert brim - raised >= THREE_MINUTES, seed


def test_its_text_says_how_long_there_is() -> None:
    """Level, limit, minutes to the brim and what to do are in the text."""
    _, script = fill_up(1, level=2.18)
    body = text_of(script.texts("raised")[0])
    assert "limit 2.25" in body
    assert "Spills in 1" in body
    assert "min." in body
    assert "THEN shut water" in body


@pytest.mark.parametrize("noise", [0.003, 0.006])
def test_a_pump_into_a_tank_without_a_mark_is_raised_three_minutes_before(noise: float) -> None:
    """Nothing shuts a transfer by itself: five minutes' forecast is what there is."""
    sensors = without_mark(with_sensors("level"))
    for seed in range(SEEDS // 2):
        brim, script = fill_up(seed, sensors=sensors, fill=0.0, extra=4e-3, level=1.6, noise=noise)
        assert brim is not None
        (raised,) = script.raised(ALARM)
        assert brim - raised >= THREE_MINUTES, seed


def test_a_slow_rise_in_a_tank_without_a_mark_is_raised_three_minutes_before() -> None:
    """Rain or a leaking valve: the limit 5 cm under the brim is reached first."""
    sensors = without_mark(with_sensors("level"))
    for seed in range(SEEDS // 2):
        brim, script = fill_up(seed, sensors=sensors, fill=0.0, extra=0.9e-3, level=2.2)
        assert brim is not None
        (raised,) = script.raised(ALARM)
        assert brim - raised >= THREE_MINUTES, seed


def without_mark(sensors: DepotPlan) -> DepotPlan:
    """The tank has no float-shut fill."""
    tank = replace(sensors.vessels["main"], fill_mark_m=None)
    return replace(sensors, fills=(), vessels={"main": tank})


@pytest.mark.parametrize("fill", [0.0, 0.9e-3])
def test_a_pump_beside_the_float_is_raised_soon_after_the_mark(fill: float) -> None:
    """The float stops no pump: it is announced within a minute of the mark."""
    for seed in range(SEEDS // 2):
        brim, script = fill_up(seed, fill=fill, extra=4e-3, level=1.9, float_shuts_at=MARK_M + 0.03)
        rate = (fill + 4e-3) / AREA_M2
        assert brim is not None
        (raised,) = script.raised(ALARM)
        assert brim - raised >= (BRIM_M - MARK_M) / rate - 60, seed


def test_a_pump_that_fills_to_the_mark_raises_nothing() -> None:
    """A transfer that stops at the mark is the plant's normal life, however fast."""
    for seed in range(SEEDS // 4):
        script = Script(
            with_sensors("level"),
            seed=seed,
            world=World(level=1.9, noise={"level": 0.003}, extra=4e-3),
        )
        script.at(60, lambda w: w.every_second.append(stop_at_mark))
        assert script.run(1500).raised(ALARM) == []


def stop_at_mark(world: World) -> None:
    """The operator stops the transfer."""
    if world.level >= MARK_M:
        world.extra = 0.0


def test_a_narrow_tank_whose_fill_is_fast_is_not_accused_during_its_run_on() -> None:
    """Where the healthy fill itself is minutes from the brim, its run-on is still no alarm."""
    fast = replace(with_sensors("level").fills[0], flow_m3_per_s=4e-3)
    sensors = replace(with_sensors("level"), fills=(fast,))
    for seed in range(SEEDS // 2):
        brim, script = fill_up(
            seed, sensors=sensors, fill=4e-3, level=1.9, float_shuts_at=MARK_M + 0.05
        )
        assert brim is None
        assert script.raised(ALARM) == [], seed


@pytest.mark.parametrize("spike", [0.15, 0.35])
def test_one_wild_level_raises_nothing(spike: float) -> None:
    """A single reading above the limit, or above the brim, is no overflow."""
    for seed in range(30):
        world = World(level=2.2, noise={"level": 0.003})
        script = Script(with_sensors("level"), seed=seed, world=world)
        script.at(300 + seed, lambda w: w.says.update(level=w.level + spike))
        script.at(310 + seed, lambda w: w.says.clear())
        assert script.run(600).raised(ALARM) == []


def test_it_is_over_when_the_level_is_back_under_the_deadband() -> None:
    """Drawn down by 2 cm below the limit it clears; standing just under it it does not."""
    world = World(level=2.27, noise={"level": 0.003})
    script = Script(with_sensors("level"), world=world).at(600, level=2.24).run(2000)
    assert len(script.raised(ALARM)) == 1
    assert script.cleared(ALARM) == []
    script.at(2100, level=2.22).run(3000)
    assert len(script.cleared(ALARM)) == 1
    assert len(script.raised(ALARM)) == 1


def test_a_silent_level_neither_clears_nor_raises() -> None:
    """Told, then the level falls silent: it stays active, and the silence is an alarm for today."""
    world = World(level=2.3, noise={"level": 0.003})
    script = Script(world=world).at(300, lambda w: w.silent.add("level")).run(4000)
    assert script.cleared(ALARM) == []
    assert script.raised("sensor-silent", "level")


def test_a_set_limit_is_what_holds() -> None:
    """A limit in the config takes the place of mark and run-on."""
    set_to = replace(with_sensors("level"), alarms={ALARM: AlarmSettings(limit=2.0)})
    script = Script(set_to, world=World(level=2.02, noise={"level": 0.003})).run(300)
    assert len(script.raised(ALARM)) == 1
    assert script.changes(ALARM)[0].limit == 2.0


def test_a_level_read_every_minute_is_enough_for_a_float_that_sticks() -> None:
    """A slow sensor still tells a runaway fill three minutes before the brim."""
    slow = with_sensor(with_sensors("level"), "level", every_seconds=60.0, silent_after_seconds=210)
    for seed in range(30):
        brim, script = fill_up(seed, sensors=slow, level=2.1)
        assert brim is not None
        (raised,) = script.raised(ALARM)
        assert brim - raised >= THREE_MINUTES, seed


HOPPER = Vessel(
    id="hopper", kind=VesselKind.HOPPER, shape=UprightCylinder(diameter_m=2.0), brim_m=1.8
)


def hopper(level: Callable[[int], float]) -> Script:
    """A hopper whose level goes so by the second, for an hour."""
    its = with_sensors("level")
    sensors = {**its.sensors, "hopper-level": sensor("hopper-level", Measure.LEVEL, "hopper")}
    its = replace(its, vessels={**its.vessels, "hopper": HOPPER}, sensors=sensors)
    world = World()
    world.every_second.append(lambda w: w.says.update({"hopper-level": level(w.seconds)}))
    return Script(its, world=world).run(3600)


def test_a_hopper_whose_water_runs_on_is_raised_under_its_brim() -> None:
    """Five centimetres under it, at 0.3 mm/s: 1.75 m is there after 1167 s."""
    script = hopper(lambda seconds: min(1.4 + 3e-4 * seconds, 1.8))
    [at] = script.raised(ALARM, "hopper")
    assert 1160 < at < 1300
    assert "hopper near overflow" in text_of(script.texts("raised")[0])


def test_salt_that_is_tipped_into_a_hopper_is_no_overflow() -> None:
    """Its level jumps with every bucket, fast enough for the brim in a minute, and goes back."""
    script = hopper(lambda seconds: 1.4 + 0.2 * math.exp(-((seconds % 600 - 300) ** 2) / 3600))
    assert script.raised(ALARM, "hopper") == []
