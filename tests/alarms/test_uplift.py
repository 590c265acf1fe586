"""A tank that may float: announced with its margin before it does, and not where it can't."""

from dataclasses import replace

import pytest

from brineward.alarms.registry import coverage
from brineward.plant.buoyancy import empty_mass_kg, lift_kg, weight_kg
from brineward.readings.entries import ModeSet
from brineward.readings.modes import Mode
from engine.scripted import Script, text_of
from wet_depot import MAIN_M2, WetWorld, wet_depot, with_hopper

ALARM = "uplift"
DRAIN = -0.004
"""m3/s: the tank falls by 0.88 mm/s."""


def floats_at(script: Script, world: WetWorld) -> list[int]:
    """The seconds from which on the tank truly floats, by Archimedes, in fresh water."""
    times: list[int] = []

    def look(_: object) -> None:
        if not times and 1000 * MAIN_M2 * world.outside > 300 + 1150 * MAIN_M2 * world.level:
            times.append(script.now)

    world.every_second.append(look)
    return times


def drained(world: WetWorld, *sensors: str, at: int = 1200, until: int = 5000) -> Script:
    """A tank that is drained from `at` on, whatever is outside."""
    script = Script(wet_depot(*sensors), world=world)
    return script.at(at, extra=DRAIN).run(until)


def test_it_is_told_long_before_it_floats_while_it_is_drained() -> None:
    """14 cm outside and a tank of 2.15 m: it floats after 39 min of draining, told half an hour
    before, and with the level at which it floats.
    """
    world = WetWorld(outside=0.14, level=2.15)
    script = Script(wet_depot("running"), world=world)
    times = floats_at(script, world)
    script.at(1200, extra=DRAIN).run(5000)
    (raised,) = script.raised(ALARM, "main")
    assert times
    assert 1200 < raised < times[0] - 1800
    text = next(t for t in map(text_of, script.texts("raised")) if "main tank may float" in t)
    assert "Floats at 10." in text  # cm: (1.207 * 14 - 300 / 45.24) by the densest liquid
    assert "min left" in text


def test_it_clears_when_the_draining_stops() -> None:
    """With a metre left in it nothing lifts it."""
    world = WetWorld(outside=0.14, level=2.15)
    script = Script(wet_depot("running"), world=world).at(1200, extra=DRAIN)
    script.at(2400, extra=0.0).run(5000)
    assert len(script.raised(ALARM)) == 1
    (cleared,) = script.cleared(ALARM)
    assert 2400 < cleared < 3300


def test_it_clears_when_only_a_trickle_is_left_of_the_draining() -> None:
    """Four hours until it floats are no two, whatever was said before."""
    world = WetWorld(outside=0.14, level=2.15)
    script = Script(wet_depot("running"), world=world).at(1200, extra=DRAIN)
    script.at(2300, extra=-0.0003).run(6000)
    assert len(script.raised(ALARM)) == 1
    assert len(script.cleared(ALARM)) == 1


@pytest.mark.parametrize("outside", [0.0, 0.004, 0.03])
def test_the_right_order_tells_nothing(outside: float) -> None:
    """A dry floor, or a puddle that can't lift even the empty tank: it may be drained."""
    script = drained(WetWorld(outside=outside, level=2.15), "running")
    assert script.world.level == 0.0
    assert script.raised(ALARM) == []


def test_a_full_tank_in_a_wet_containment_tells_nothing() -> None:
    """Half a metre outside does not lift ten tonnes."""
    script = Script(wet_depot("running"), world=WetWorld(outside=0.5, level=2.15)).run(4000)
    assert script.raised(ALARM) == []


def test_an_empty_tank_is_told_while_the_water_outside_rises() -> None:
    """3 cm an hour: told over an hour before fresh water lifts it, by what is still to come."""
    world = WetWorld(outside=0.01, level=0.0)
    script = Script(wet_depot("running"), world=world)
    times = floats_at(script, world)
    script.at(600, gain=0.03 / 3600 * 23.476).run(9000)
    (raised,) = script.raised(ALARM)
    assert times
    assert raised < times[0] - 3600
    assert "more outside lifts it" in text_of(script.texts("raised")[-1])


def test_what_lifts_most_of_the_weight_is_told_though_nothing_moves() -> None:
    """5 cm of brine outside an empty tank, since nobody knows when."""
    script = Script(wet_depot("running"), world=WetWorld(outside=0.05, level=0.0)).run(600)
    assert len(script.raised(ALARM)) == 1
    afloat = Script(wet_depot(), world=WetWorld(outside=0.14, level=0.0)).run(600)
    assert "may be afloat" in text_of(afloat.texts("raised")[0])


def loads(mode: Mode | None, *, seconds: int = 600) -> Script:
    """A truck of 2 m3 is loaded from a tank of 1.6 m; 14 cm outside."""
    script = Script(wet_depot("running"), world=WetWorld(outside=0.14, level=1.6))
    if mode is not None:
        its = script.plan.id
        script.step(ModeSet(depot=its, time=script.time, received=script.time, mode=mode, by=""))
    script.at(600, running=1.0, open=1.0).at(600 + seconds, running=0.0, open=0.0)
    return script.run(2400)


def test_a_load_is_no_draining() -> None:
    """At its rate the tank would float in half an hour, but a truck is full long before."""
    assert loads(None).raised(ALARM) == []


def test_a_pump_that_empties_the_tank_is_one() -> None:
    """Where the depot is being drained, or where the pump goes on until little is left."""
    assert len(loads(Mode.DRAINING).raised(ALARM)) == 1
    assert len(loads(None, seconds=1700).raised(ALARM)) == 1


def test_salt_holds_a_hopper_down() -> None:
    """The bed weighs more than water of its height, with no liquid in it."""
    hopper = with_hopper(wet_depot()).vessels["hopper"]
    assert lift_kg(hopper, 0.10) > weight_kg(hopper, 0.0)
    assert lift_kg(hopper, 0.10) < weight_kg(hopper, 0.0, 0.10) < weight_kg(hopper, 0.0, 0.50)


def test_a_tank_on_a_plinth_or_elsewhere_is_not_lifted() -> None:
    """What is not reached does not float; what is not in the containment isn't judged."""
    its = wet_depot()
    raised = replace(its.vessels["main"], raised_m=0.2)
    on_plinth = replace(its, vessels={**its.vessels, "main": raised})
    assert Script(on_plinth, world=WetWorld(outside=0.14, level=0.0)).run(600).raised(ALARM) == []
    away = replace(its.vessels["main"], in_containment=False)
    elsewhere = replace(its, vessels={**its.vessels, "main": away})
    assert [one for one in coverage(elsewhere) if one.alarm == ALARM] == []
    assert Script(elsewhere, world=WetWorld(outside=0.14)).run(600).raised(ALARM) == []


def test_a_sensor_that_has_fallen_silent_raises_nothing() -> None:
    """What is in the tank then nobody knows: the silence is announced instead."""
    world = WetWorld(outside=0.14, level=2.15)
    script = Script(wet_depot("running"), world=world)
    script.at(900, lambda world: world.silent.add("level")).at(1200, extra=DRAIN).run(5000)
    assert script.raised(ALARM) == []
    assert script.raised("sensor-silent", "level")


def test_a_restart_while_it_is_drained_changes_nothing() -> None:
    """Told at the same second as without."""
    plain = drained(WetWorld(outside=0.14, level=2.15), "running", until=2400)
    script = Script(wet_depot("running"), world=WetWorld(outside=0.14, level=2.15))
    script.at(1200, extra=DRAIN).at(1230, lambda _: script.restart()).run(2400)
    assert script.raised(ALARM) == plain.raised(ALARM) != []


def test_the_wet_containment_is_not_told_besides() -> None:
    """Empty and with the water rising: the first text is the graver one, and the only one."""
    world = WetWorld(outside=0.005, level=0.0)
    script = Script(wet_depot("running"), world=world).at(600, gain=0.05 / 3600 * 23.476)
    script.run(7200)
    first, *_ = script.texts("raised")
    assert "may float" in text_of(first)
    assert script.raised("containment-wet") == []


def test_where_it_is_covered() -> None:
    """By both levels; without either it is blind, and says which would help."""
    its = with_hopper(wet_depot())
    found = {one.source: one for one in coverage(its) if one.alarm == ALARM}
    assert (found["main"].how, found["main"].by) == ("covered", ("outside", "level"))
    assert (found["hopper"].how, found["hopper"].would_help) == ("blind", "a level in hopper")
    bare = replace(its, sensors={"level": its.sensors["level"]})
    blind = {one.source: one for one in coverage(bare) if one.alarm == ALARM}
    assert blind["main"].would_help == "a level in containment"
    assert blind["hopper"].would_help == "a level in containment and one in hopper"


def test_a_mass_that_nobody_gave_errs_on_the_light_side() -> None:
    """Makers' lists give a polyethylene tank of 10.9 m3 as 200 to 350 kg."""
    main = wet_depot().vessels["main"]
    assert empty_mass_kg(main) == 300.0
    assert empty_mass_kg(replace(main, empty_mass_kg=None)) == pytest.approx(195.4, abs=0.1)
