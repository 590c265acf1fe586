"""A leak that a float tops up, through the engine: the tank's own level shows nothing of it."""

from dataclasses import replace

import pytest

from brineward.alarms.registry import CATALOGUE, coverage, remarks
from brineward.config.load import load_settings
from brineward.plant.plan import DepotPlan
from brineward.readings.entries import ModeSet
from brineward.readings.modes import Mode
from checkout import ROOT
from depots import DEPOT
from engine.scripted import Script, World, text_of, with_sensor, within
from plant.test_hopper_salt import with_hopper
from plant.test_water_at_rest import with_water

TANK = "tank-leak"


# -- by the salt


def test_a_leak_that_a_float_tops_up_is_told_by_the_salt_alone() -> None:
    """2 cm of bed an hour while the tank's level rests, by a rod good to 1 cm: within ten hours."""
    its = with_sensor(with_hopper(), "salt", standard_uncertainty=0.005)
    world = World(level=2.19)
    world.noise = {"level": 0.001, "salt": 0.003}

    def goes(world: World) -> None:
        world.says["salt"] = 1.2 - 0.02 * world.seconds / 3600

    world.every_second.append(goes)
    script = Script(replace(its, alarms={}), world=world).run(10 * 3600)
    [raised] = script.raised(TANK)
    assert script.raised(TANK, "hopper") == [raised]
    assert "by salt used" in text_of(script.texts("raised", "yard")[0])
    # Of 1,200 kg/m3 of loose salt and 275 kg/m3 in brine of 23.3 % (`published/density.csv`).
    found = script.changes(TANK)[0]
    assert found.value == pytest.approx(0.02 * 3.1416 * 1200 / 275, rel=0.1)


# -- by the water


def draining(litres_per_hour: float, *, salt: bool = False) -> World:
    """The float lets in what is lost; so much water passes the meter."""
    world = World(level=2.19)
    world.noise = {"level": 0.001, "hopper-level": 0.003, "salt": 0.003}
    flow = litres_per_hour / 3.6e6
    world.says = {"hopper-level": 1.4, "water": flow, "salt": 1.2}

    def goes(world: World) -> None:
        world.says["salt"] = 1.2 - 0.02 * world.seconds / 3600

    if salt:
        world.every_second.append(goes)
    return world


def test_a_leak_that_a_float_tops_up_is_told_by_the_water_alone() -> None:
    """100 L/h through the meter, with every level at rest: within three hours, and the text says
    by what; it clears when the water stands, and not before.
    """
    script = Script(with_water(), world=draining(100.0))
    script.at(4 * 3600, lambda world: world.says.update(water=0.0)).run(9 * 3600)
    [raised] = script.raised(TANK)
    assert raised < 3 * 3600
    assert script.raised(TANK, "water") == [raised]
    assert within(script.cleared(TANK, "water"), 4 * 3600, 9 * 3600)
    assert "by water used" in text_of(script.texts("raised", "yard")[0])
    found = script.changes(TANK)[0]
    assert found.value == pytest.approx(0.965 * 0.100, rel=0.05)
    assert "raised no level" in found.sentence


def test_it_is_quiet_where_the_plant_is_emptied_or_filled_up() -> None:
    """By its record, and by what is remembered."""
    assert {Mode.DRAINING, Mode.LAID_UP, Mode.FILLING_UP} <= set(CATALOGUE[TANK].quiet_in)
    script = Script(with_water(), world=draining(100.0))
    script.step(
        ModeSet(depot=DEPOT, time=script.time, received=script.time, mode=Mode.DRAINING, by="yard")
    )
    assert script.run(4 * 3600).raised(TANK) == []


def test_what_the_water_shows_first_is_not_raised_again_by_the_salt() -> None:
    """One leak is one alarm, though its salt shows it hours later."""
    its = with_sensor(with_water(), "salt", standard_uncertainty=0.005)
    script = Script(its, world=draining(100.0, salt=True)).run(12 * 3600)
    [raised] = script.raised(TANK)
    assert script.raised(TANK, "water") == [raised]


# -- what `check` says


def example(*, metered: bool) -> DepotPlan:
    """The standard depot, with its water line's meter or without."""
    its = load_settings(ROOT / "config" / "tern-hollow.toml").depots["tern-hollow"]
    if not metered:
        return its
    return replace(its, sensors={**its.sensors, "water": with_water().sensors["water"]})


def test_check_names_a_meter_where_a_float_hides_a_leak() -> None:
    """It makes the tank covered; a meter without a level in the hopper does not."""

    def of(its: DepotPlan) -> tuple[str, str]:
        [found] = [one for one in coverage(its) if one.alarm == TANK]
        return found.how, found.would_help

    how, helps = of(example(metered=False))
    assert how == "indirect"
    assert helps.startswith('a meter in its water line (at = "hopper"), or its water shut off')
    metered = example(metered=True)
    assert of(metered) == ("covered", "")
    [found] = [one for one in coverage(metered) if one.alarm == TANK]
    assert "water" in found.by
    sensors = {name: one for name, one in metered.sensors.items() if name != "hopper-level"}
    how, helps = of(replace(metered, sensors=sensors))
    assert (how, helps[:18]) == ("indirect", "a level in hopper:")


def test_check_says_the_smallest_leak_that_the_water_shows() -> None:
    """In half a day and in two; what the salt shows is then not all there is."""
    found = remarks(example(metered=True))
    [sentence] = [one for one in found if "in the water used" in one]
    assert sentence.startswith("water: a leak that a float tops up shows in the water used: 4.5 ")
    assert "within 12 h in which nobody loads" in sentence
    assert not any("only in the salt" in one for one in found)
    assert not any("in the water used" in one for one in remarks(example(metered=False)))
