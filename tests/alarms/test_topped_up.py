"""A leak that a float tops up, through the engine: the tank's own level shows nothing of it."""

from dataclasses import replace

import pytest

from engine.scripted import Script, World, text_of, with_sensor
from plant.test_hopper_salt import with_hopper

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
