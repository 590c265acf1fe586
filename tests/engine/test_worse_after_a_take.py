"""What gets worse after somebody has taken it, and what is not cured by the time its harm comes."""

from brineward.readings.outputs import AlarmState
from engine.pump_world import PumpWorld, depot, loaded
from engine.scripted import AREA_M2, BRIM_M, Script, World, text_of, with_sensors, within
from wet_depot import AROUND_M2, WetWorld, wet_depot

MINUTES = 60


def test_a_tank_at_its_brim_is_announced_again_to_who_took_it_before() -> None:
    """ "Spills in 90 s", taken at once; a minute or two later it spills, and is high as before."""
    world = World(level=2.3, fill=1.5e-3)
    script = Script(with_sensors("level"), world=world).run(60)
    assert len(script.raised("overflow-ahead")) == 1
    script.take_at(61).run(60 + 15 * MINUTES)
    brim = (BRIM_M - 2.3) * AREA_M2 / 1.5e-3
    (_, second) = script.raised("overflow-ahead")
    assert within([second], brim - 30, brim + 60)
    assert any("at its brim" in text_of(one) for one in script.texts("raised"))


def test_a_shelter_that_goes_below_freezing_is_announced_again() -> None:
    """Taken while it was near; it says so once, however often it crosses."""
    world = World(shelter=2.0)
    script = Script(with_sensors("shelter"), world=world).run(600)
    script.take_at(601).at(1200, shelter=-1.0).run(2000)
    assert len(script.raised("shelter-freezing")) == 2
    script.take_at(2001).at(2100, shelter=0.5).at(2400, shelter=-1.0).run(3600)
    assert len(script.raised("shelter-freezing")) == 2
    assert any("below freezing" in text_of(one) for one in script.texts("raised"))
    cleared = script.at(3700, shelter=8.0).run(6000).texts("cleared")
    assert "was below freezing" in text_of(cleared[0]), "not what it was when it was raised"


def test_while_it_still_calls_worse_is_said_by_the_next_call_alone() -> None:
    """Nobody has taken it: its next text reads how it is now."""
    world = World(shelter=2.0)
    script = Script(with_sensors("shelter"), world=world).run(600)
    script.at(660, shelter=-1.0).run(1500)
    assert len(script.raised("shelter-freezing")) == 1
    assert any("below freezing" in text_of(one) for one in script.texts())


def test_a_pump_that_is_still_against_its_valve_is_asked_about_when_it_is_hot() -> None:
    """Taken, and nobody has stopped it: not an hour later but by the time at which it is hot, and
    no sooner than ten minutes after the take.
    """
    script = loaded(depot("running", "valve", "level"), PumpWorld()).at(1000, running=1.0)
    script.run(1100)
    assert len(script.raised("closed-valve")) == 1
    script.take_at(1101).run(1101 + 25 * MINUTES)
    second = script.raised("closed-valve")[1]
    assert 1101 + 10 * MINUTES <= second <= 1101 + 20 * MINUTES + 5


def test_a_tank_that_comes_to_float_is_announced_again_and_named_when_it_clears() -> None:
    """Drained in a wet containment, taken, and drained on; then it is filled again."""
    world = WetWorld(outside=0.14, level=0.5)
    script = Script(wet_depot("running"), world=world).at(600, extra=-4e-3)
    script.run(720)
    script.take_at(721).run(2400)
    assert len(script.raised("uplift", "main")) == 2
    assert any("may be afloat" in text_of(one) for one in script.texts())
    number = script.changes("uplift", "main")[-1].number
    script.take_at(2401, number=number).at(3000, outside=0.0, extra=0.0, level=1.5).run(5400)
    assert script.state("uplift", "main") is AlarmState.NORMAL


def test_a_tank_that_runs_out_is_asked_about_before_it_is_empty() -> None:
    """2.2 m at the pump's own rate: gone in 46 minutes; asked again long before, where it would
    else be days later.
    """
    world = World(level=2.19)
    world.noise["level"] = 0.001
    script = Script(with_sensors("level", "temp", "running"), world=world)
    script.at(3000, extra=-3.6e-3).run(3600)
    (raised,) = script.raised("tank-leak")
    script.take_at(3601).run(3000 + 46 * MINUTES)
    assert len(script.raised("tank-leak")) == 2
    left = 3000 + 2.19 * AREA_M2 / 3.6e-3 - 3601
    assert script.raised("tank-leak")[1] - 3601 < left - 10 * MINUTES
    assert raised < 3601


def test_a_containment_that_fills_is_asked_about_before_its_rim() -> None:
    """60 cm at a centimetre a minute."""
    world = WetWorld(level=2.0)
    world.gain = 0.6 / 3600 * AROUND_M2
    script = Script(wet_depot(), world=world).run(900)
    assert len(script.raised("containment-wet")) == 1
    script.take_at(901).run(3400)
    again = script.raised("containment-wet")[1]
    assert 901 + 10 * MINUTES <= again < 3600 - 10 * MINUTES
    script.take_at(3401).run(4200)
    assert len(script.raised("containment-wet")) == 3, "at its rim"
