"""Tank leak, line leak and a tank that isn't filling, scripted through the engine."""

import math
from dataclasses import replace

import pytest

from brineward.alarms.not_filling import begins_within_seconds
from brineward.alarms.registry import CATALOGUE, coverage, remarks
from brineward.alarms.tank_leak import smallest_leak_m3_per_h
from brineward.config.load import load_settings
from brineward.plant.plan import AlarmSettings, DepotPlan, Measure
from brineward.plant.salt_at_rest import smallest_by_salt_m3_per_h
from brineward.readings.entries import ModeSet
from brineward.readings.modes import Mode
from brineward.readings.outputs import Priority
from checkout import ROOT
from depots import DEPOT, plan, sensor
from engine.scripted import AREA_M2, Script, World, text_of, with_sensors, within

TANK, LINE, FILL = "tank-leak", "line-leak", "not-filling"


def leaking(litres_per_hour: float, **values: float) -> World:
    """A tank that loses so much and is not filled."""
    world = World(extra=-litres_per_hour / 3.6e6, **values)
    world.noise["level"] = 0.001
    return world


def quick() -> DepotPlan:
    """Tern Hollow with its level, thermometer and pump's switch; a level good to 3 mm."""
    its = with_sensors("level", "temp", "running")
    level = replace(its.sensors["level"], standard_uncertainty=0.003 / math.sqrt(3))
    return replace(its, sensors={**its.sensors, "level": level}, alarms={})


# -- the tank


def test_a_fast_leak_is_told_with_how_fast_how_much_and_since_when() -> None:
    """200 L/h: 44 mm/h, announced within two hours, with the whole of what to do."""
    script = Script(quick(), world=leaking(200.0)).run(2 * 3600)
    [raised] = script.raised(TANK)
    assert raised < 2 * 3600
    text = text_of(script.texts("raised", "yard")[0])
    assert "Main tank or pipe leaks" in text or "main tank or pipe leaks" in text
    assert " L/h, " in text
    assert "with nothing running, temperature allowed for" in script.changes(TANK)[0].sentence
    assert script.changes(TANK)[0].value == pytest.approx(0.2, rel=0.1)


@pytest.mark.parametrize("litres_per_hour", [200.0, 1000.0])
def test_a_fast_leak_stays_active_until_it_has_stopped(litres_per_hour: float) -> None:
    """Raised once, however fast; after six hours, far from empty, it is repaired."""
    script = Script(quick(), world=leaking(litres_per_hour))
    script.at(6 * 3600, extra=0.0).run(12 * 3600)
    assert len(script.raised(TANK)) == 1
    assert within(script.cleared(TANK), 6 * 3600, 12 * 3600)


def test_a_running_pump_is_no_leak() -> None:
    """The same fall while the pump runs is a load."""
    world = leaking(200.0, running=1.0, open=1.0, delivers=0.0)
    assert Script(quick(), world=world).run(2 * 3600).raised(TANK) == []


def test_a_tank_being_drained_is_no_leak() -> None:
    """Its people say so."""
    script = Script(quick(), world=leaking(400.0))
    script.step(
        ModeSet(depot=DEPOT, time=script.time, received=script.time, mode=Mode.DRAINING, by="yard")
    )
    assert script.run(2 * 3600).raised(TANK) == []


def test_a_restart_in_between_changes_nothing() -> None:
    """What speaks for a leak is in what is remembered."""
    plain = Script(quick(), world=leaking(200.0)).run(2 * 3600)
    again = Script(quick(), world=leaking(200.0)).at(2500, lambda _: again.restart())
    assert again.run(2 * 3600).raised(TANK) == plain.raised(TANK) != []


def test_check_says_the_smallest_leak_by_the_sensors() -> None:
    """From accuracy, surface and interval: a coarser level or a wider tank tells only a larger."""
    its = quick()
    tank = its.vessels["main"]
    half_day = smallest_leak_m3_per_h(its, tank, 12)
    five_days = smallest_leak_m3_per_h(its, tank, 120)
    assert half_day is not None
    assert five_days is not None
    # By hand: 2 x 3 mm and 2 mm, and 6 x 1.2533 x 1.73 mm x sqrt(2 / 60) = 2.4 mm, in 11.0 h
    # (50 min of wait and blocks and what fades are off), and 0.2 mm/h: 1.145 mm/h on 4.52 m2.
    assert half_day == pytest.approx(1.145e-3 * AREA_M2, rel=0.01)
    assert five_days < 0.002 < half_day < 0.019
    level = replace(its.sensors["level"], standard_uncertainty=0.01)
    coarse = replace(its, sensors={**its.sensors, "level": level})
    assert (smallest_leak_m3_per_h(coarse, tank, 12) or 0.0) > 3 * half_day
    slow = replace(its.sensors["level"], every_seconds=60.0)
    rare = replace(its, sensors={**its.sensors, "level": slow})
    assert (smallest_leak_m3_per_h(rare, tank, 12) or 0.0) > 1.2 * half_day
    wide = replace(tank, shape=replace(tank.shape, diameter_m=4.8))
    assert smallest_leak_m3_per_h(its, wide, 12) == pytest.approx(4 * half_day)
    [sentence] = remarks(replace(its, us_units=True))
    assert "a leak of 1.4 gal/h or more is found within 12 h, of 0.4 gal/h within" in sentence
    assert sentence.endswith(" within 5 days.")
    off = replace(its, alarms={TANK: AlarmSettings(enabled=False)})
    assert remarks(off) == []


def test_check_says_the_smallest_leak_that_only_the_salt_shows() -> None:
    """By the bed's sensor and the hopper's surface; nothing where it isn't known when all rests."""
    its = load_settings(ROOT / "config" / "tern-hollow.toml").depots["tern-hollow"]
    hopper = its.vessels["hopper"]
    # By hand: 2 x 5 cm, 2 mm and 2 cm in 72 h, of which a ninth part fades (72 / 672), and
    # 0.2 mm/h: 2.10 mm/h on 3.14 m2 of loose salt, 1,200 kg/m3; brine of 23.3 % at 10 degC has
    # 275 kg/m3 of salt (1,179 kg/m3, `published/density.csv`).
    leak = smallest_by_salt_m3_per_h(its, hopper, 72)
    assert leak == pytest.approx(2.10e-3 * 3.1416 * 1200 / 275, rel=0.01)
    assert (smallest_by_salt_m3_per_h(its, hopper, 240) or 1.0) < leak
    assert any("shows only in the salt: 7.6 gal/h or more within 3 days" in x for x in remarks(its))
    for gone in ("hopper-salt", "pump-running", "main-level"):
        left = {name: one for name, one in its.sensors.items() if name != gone}
        fewer = replace(its, sensors=left)
        assert smallest_by_salt_m3_per_h(fewer, hopper, 72) is None
        assert not any("in the salt" in x for x in remarks(fewer))


def overfull(level: float) -> Script:
    """Slow loads of 2.25 m3 from a tank that was filled to this level: the float opens once it is
    down at its mark.
    """
    world = leaking(0.0, level=level, delivers=1.5e-3)
    script = Script(metered(), world=world)

    def float_valve(world: World) -> None:
        world.says["flow"] = world.delivers if world.running and world.open else 0.0
        if world.level < 2.13:
            world.fill, world.float_shuts_at = 0.9e-3, 2.15

    world.every_second.append(float_valve)
    for number in range(4):
        start = 600 + 3600 * number
        script.at(start - 300, lambda w: setattr(w, "level", level))
        script.at(start, running=1.0, open=1.0).at(start + 1500, running=0.0, open=0.0)
    return script.run(4 * 3600)


@pytest.mark.parametrize("level", [2.15, 2.39])
def test_a_tank_that_was_overfull_is_no_leaking_line(level: float) -> None:
    """Nothing comes in until it is down at the float; what came after is not counted twice."""
    assert overfull(level).raised(LINE) == []


def test_a_run_that_took_more_than_the_tank_holds_says_nothing_of_its_line() -> None:
    """A pump left on, dry for hours, the water back on at its end: what came in isn't known."""
    world = leaking(0.0, level=1.0)
    script = Script(metered(), world=world)

    def meter(world: World) -> None:
        world.delivers = 3.6e-3 if world.level > 0.1 else 0.0
        world.says["flow"] = world.delivers if world.running and world.open else 0.0

    world.every_second.append(meter)
    for number in range(2):
        start = 600 + 5 * 3600 * number
        script.at(start, running=1.0, open=1.0)
        script.at(start + 3 * 3600, running=0.0, open=0.0)
        script.at(start + 3 * 3600 - 200, fill=0.9e-3, float_shuts_at=1.0)
    assert script.run(10 * 3600).raised(LINE) == []


def test_where_a_leak_is_covered() -> None:
    """Blind without a level; indirect where loads are unseen, or a float can hide it."""

    def of(its: DepotPlan) -> tuple[str, str]:
        [found] = [one for one in coverage(its) if one.alarm == TANK]
        return found.how, found.would_help

    assert of(with_sensors("temp")) == ("blind", "a level in main")
    assert of(with_sensors("level")) == ("indirect", "a running switch on each pump")
    assert of(with_sensors("level", "running")) == ("indirect", "a temperature in main")
    assert "a float that tops up hides a leak" in of(quick())[1]
    unfilled = {"main": replace(quick().vessels["main"], fill_mark_m=None)}
    assert of(replace(quick(), vessels=unfilled, fills=())) == ("covered", "")


# -- the float


def test_a_tank_that_stays_below_its_mark_is_told() -> None:
    """A quarter of an hour for a fill to begin, and half an hour's delay; low, in waking hours."""
    script = Script(quick(), world=leaking(0.0, level=1.6)).run(3600)
    [raised] = script.raised(FILL)
    # The first level comes within seconds of the start.
    assert 2700 <= raised <= 2720
    assert script.changes(FILL)[0].priority is Priority.LOW
    assert "1.60 m (mark 2.20 m)" in text_of(script.texts("raised", "yard")[0])


@pytest.mark.parametrize("level", [2.11, 2.2])
def test_one_that_is_hardly_below_its_mark_is_none(level: float) -> None:
    """A float need not let water in there yet."""
    assert Script(quick(), world=leaking(0.0, level=level)).run(3600).raised(FILL) == []


def test_one_that_fills_slowly_is_none_and_a_fill_clears_it() -> None:
    """A quarter of the declared flow still shows; when the water is back it clears."""
    slow = Script(quick(), world=leaking(0.0, level=1.5)).at(10, fill=0.25e-3)
    assert slow.run(2 * 3600).raised(FILL) == []
    back = Script(quick(), world=leaking(0.0, level=1.5)).at(3600, fill=0.9e-3).run(3600 + 300)
    assert len(back.raised(FILL)) == 1
    assert len(back.cleared(FILL)) == 1


def test_while_trucks_load_its_time_begins_anew() -> None:
    """A load every half hour leaves a fill no time to show; no storm night is spent on it."""
    script = Script(quick(), world=leaking(0.0, level=2.0, delivers=0.5e-3, open=1.0))
    for start in range(300, 9000, 1800):
        script.at(start, running=1.0).at(start + 240, running=0.0)
    assert script.run(9000).raised(FILL) == []


def test_it_is_quiet_where_no_fill_is_wanted() -> None:
    """One batch alone; and by its record where the depot is drained or laid up."""
    script = Script(quick(), world=leaking(0.0, level=1.6))
    act = ModeSet(
        depot=DEPOT,
        time=script.time,
        received=script.time,
        mode=Mode.IN_SERVICE,
        single_batch=True,
        by="yard",
    )
    script.step(act)
    assert script.run(4000).raised(FILL) == []
    assert {Mode.DRAINING, Mode.LAID_UP} <= set(CATALOGUE[FILL].quiet_in)


def test_a_slow_fill_of_a_wide_tank_has_longer() -> None:
    """Four times what 2 cm take at the declared flow, where that is more than a quarter hour."""
    its = quick()
    tank = its.vessels["main"]
    assert begins_within_seconds(its, tank) == 900.0
    wide = replace(tank, shape=replace(tank.shape, diameter_m=5.0))
    assert begins_within_seconds(its, wide) == pytest.approx(
        4 * 0.02 * math.pi * 25 / 4 / 0.9e-3, rel=1e-6
    )


# -- the line


def metered() -> DepotPlan:
    """The same with a meter in the hose."""
    its = quick()
    flow = sensor("flow", Measure.FLOW, "pump", low=-0.01, high=0.02, standard_uncertainty=3e-5)
    return replace(its, sensors={**its.sensors, "flow": flow})


def loads(share: float, *, count: int = 4, fills: bool = False) -> Script:
    """Loads of 1.08 m3 an hour apart, with this share lost before the meter."""
    world = leaking(0.0, level=2.15)
    script = Script(metered(), world=world)

    def meter(world: World) -> None:
        flowing = world.delivers if world.running and world.open else 0.0
        world.says["flow"] = flowing * (1 - share)

    world.every_second.append(meter)
    for number in range(count):
        start = 600 + 3600 * number
        script.at(start, running=1.0, open=1.0).at(start + 300, running=0.0, open=0.0)
        if fills:
            script.at(start + 60, fill=0.9e-3, float_shuts_at=2.15)
        else:
            script.at(start + 1800, lambda world: setattr(world, "level", 2.15))
    return script.run(3600 * count)


@pytest.mark.parametrize("fills", [False, True])
def test_a_line_that_loses_a_quarter_is_told_after_its_second_load(*, fills: bool) -> None:
    """Whether or not the tank is filled meanwhile."""
    script = loads(0.25, fills=fills)
    [raised] = script.raised(LINE)
    assert 3600 + 900 < raised < 3600 + 1400
    assert "missing in 2 loads" in text_of(script.texts("raised")[0])


@pytest.mark.parametrize("share", [0.0, 0.03, -0.1])
@pytest.mark.parametrize("fills", [False, True])
def test_a_meter_that_is_a_little_off_is_none(share: float, *, fills: bool) -> None:
    """Three percent low, or ten percent high."""
    assert loads(share, fills=fills).raised(LINE) == []


def test_where_a_line_is_covered() -> None:
    """It takes a meter, the pump's switch and its tank's level."""
    [found] = [one for one in coverage(metered()) if one.alarm == LINE]
    assert (found.how, set(found.by)) == ("covered", {"flow", "running", "level"})
    [blind] = [one for one in coverage(with_sensors("level")) if one.alarm == LINE]
    helps = "a flow in its hose and a running switch on the pump"
    assert (blind.how, blind.would_help) == ("blind", helps)


def test_the_example_depot_has_all_three() -> None:
    """Nothing that they need is missing there."""
    its = next(iter(load_settings(ROOT / "config" / "tern-hollow.toml").depots.values()))
    how = {one.alarm: one.how for one in coverage(its) if one.alarm in (TANK, LINE, FILL)}
    assert how == {TANK: "indirect", LINE: "covered", FILL: "covered"}
    assert plan().fills
