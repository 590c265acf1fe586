"""Brine weak, strong or of unknown strength, scripted: batches, doubt, dry probes, silence."""

from dataclasses import replace

import pytest

from brineward.physics.salinity import salinity
from brineward.plant.plan import DepotPlan, Strength
from brineward.readings.outputs import AlarmState, Derived
from depots import brine, by_hand
from engine.scripted import Script, World, text_of, with_sensors, within

WEAK, STRONG, UNKNOWN = "brine-weak", "brine-strong", "strength-unknown"
NOISE = {"level": 0.003, "cond": 0.05, "temp": 0.1}
TANK = ("level", "cond", "temp")
FILL_BEGINS, FILL_ENDS = 600, 3600
TEN_MINUTES = 600


def tank(**band: float) -> DepotPlan:
    """The tank with its level, probe and thermometer, and another strength band."""
    return with_sensors(*TANK, strength=Strength(**band))


def batch(seed: int, after: float, *, sensors: DepotPlan | None = None) -> Script:
    """A fill with fresh water at the probe at once, blended when it ends."""
    script = Script(sensors or tank(), seed=seed, world=World(level=1.2, noise=dict(NOISE)))
    script.at(FILL_BEGINS, fill=0.9e-3, strength=0.12).at(2000, strength=0.19)
    return script.at(FILL_ENDS, fill=0.0, strength=after)


def test_weak_readings_during_a_batch_raise_nothing() -> None:
    """Fresh water at the probe while the tank fills, however weak, is a batch being made."""
    for seed in range(30):
        assert batch(seed, 0.233).run(6000).changes() == [], seed


def test_a_weak_batch_is_raised_within_ten_minutes_of_its_end() -> None:
    """A batch that stays weak is announced soon after the fill has ended, and not before."""
    for seed in range(30):
        script = batch(seed, 0.20).run(5000)
        assert within(script.raised(WEAK), FILL_ENDS, FILL_ENDS + TEN_MINUTES), seed
        assert script.raised(STRONG) == []


def test_a_strong_batch_is_raised_within_ten_minutes_of_its_end() -> None:
    """The same for one that is too strong."""
    for seed in range(30):
        script = batch(seed, 0.262, sensors=tank(high=0.235)).run(5000)
        assert within(script.raised(STRONG), FILL_ENDS, FILL_ENDS + TEN_MINUTES), seed
        assert script.raised(WEAK) == []


def test_its_text_says_how_weak_how_sure_and_the_limit() -> None:
    """Strength with its 95 % interval, and the limit, all in percent."""
    script = batch(1, 0.20)
    script.at(500, lambda _: script.step(by_hand(script.time)))
    body = text_of(script.run(5000).texts("raised")[0])
    assert "main tank brine weak. 20." in body
    assert "limit 22.0" in body
    assert "Don't load" in body
    assert "hydrometer" in body


def test_a_probe_that_was_never_tested_is_said_to_be_before_its_number() -> None:
    """Its number is uncalibrated: that comes first, and to test it is what is asked for."""
    body = text_of(batch(1, 0.20).run(5000).texts("raised")[0])
    assert "main tank probe untested, reads weak. 20." in body
    assert "Don't load" in body
    assert "hydrometer" in body


@pytest.mark.parametrize("liquid", [-10.0, 5.0, 30.0])
def test_doubt_is_respected(liquid: float) -> None:
    """Under the limit by less than one standard uncertainty raises nothing, by three it does."""
    found = salinity(
        brine(0.215, liquid),
        liquid,
        conductivity_standard_uncertainty=0.1,
        temperature_standard_uncertainty=0.2,
    )
    for off, expected in ((0.6, 0), (3.0, 1)):
        limit = found.mass_fraction + off * found.standard_uncertainty
        script = Script(
            with_sensors(*TANK, strength=Strength(low=limit)),
            world=World(strength=0.215, liquid=liquid),
        )
        assert len(script.run(3600).raised(WEAK)) == expected


def test_between_limit_and_doubt_it_neither_comes_nor_goes() -> None:
    """Raised, then better but still under the limit: it stays active, and clears at the limit."""
    script = Script(tank(), world=World(strength=0.19)).run(1500)
    assert len(script.raised(WEAK)) == 1
    script.at(1510, strength=0.217).run(4000)
    assert script.cleared(WEAK) == []
    script.at(4010, strength=0.224).run(6000)
    assert len(script.cleared(WEAK)) == 1
    assert len(script.raised(WEAK)) == 1


def test_a_bare_probe_says_nothing_of_the_brine() -> None:
    """With the level under the probe nothing is weak, whatever the probe reads."""
    world = World(level=0.32, strength=0.1)
    script = Script(tank(), world=world).run(4000)
    assert script.raised(WEAK) == []
    assert script.raised(UNKNOWN) == []


def test_a_probe_just_covered_is_believed() -> None:
    """Five centimetres under the surface a probe counts as covered."""
    script = Script(tank(), world=World(level=0.36, strength=0.19)).run(4000)
    assert len(script.raised(WEAK)) == 1


def test_a_silent_thermometer_makes_it_blind_and_clears_nothing() -> None:
    """Weak is raised; the thermometer falls silent and the brine gets well: nobody can know."""
    script = Script(tank(), world=World(strength=0.19))
    script.at(1500, lambda w: w.silent.add("temp")).at(1510, strength=0.233).run(6000)
    assert len(script.raised(WEAK)) == 1
    assert script.cleared(WEAK) == []
    assert script.state(WEAK) is AlarmState.UNACKNOWLEDGED
    script.at(6010, lambda w: w.silent.clear()).run(8000)
    assert len(script.cleared(WEAK)) == 1


def test_a_thermometer_that_talks_nonsense_makes_it_blind() -> None:
    """A temperature that is not believed is not used to judge the brine."""
    script = Script(tank(), world=World(strength=0.233)).at(
        1500, lambda w: w.says.update(temp=300.0)
    )
    script.at(1600, strength=0.10).run(6000)
    assert script.raised(WEAK) == []
    assert script.raised("sensor-implausible", "temp")


def test_a_silent_level_makes_it_blind() -> None:
    """Whether the tank is filling and the probe covered is not known without a level."""
    script = Script(tank(), world=World(strength=0.233)).at(1500, lambda w: w.silent.add("level"))
    assert script.at(1600, strength=0.15).run(6000).raised(WEAK) == []


def test_without_a_level_sensor_it_is_judged_all_the_same() -> None:
    """A depot without a level still learns that its brine is weak."""
    script = Script(with_sensors("cond", "temp"), world=World(strength=0.19)).run(1000)
    assert len(script.raised(WEAK)) == 1


@pytest.mark.parametrize("every", [10.0, 60.0, 300.0])
def test_a_level_read_seldom_is_enough_to_know_that_the_tank_stands(every: float) -> None:
    """With a level every five minutes weak brine is still announced within the hour."""
    slow = tank()
    level = replace(slow.sensors["level"], every_seconds=every, silent_after_seconds=3 * every + 30)
    sensors = replace(slow, sensors={**slow.sensors, "level": level})
    script = Script(sensors, world=World(strength=0.19, noise=dict(NOISE))).run(3600)
    assert len(script.raised(WEAK)) == 1


@pytest.mark.parametrize("strength", [0.224, 0.233, 0.245])
def test_good_brine_standing_for_days_raises_nothing(strength: float) -> None:
    """Inside the band, with the noise of all three sensors, nothing is said."""
    script = Script(tank(), world=World(strength=strength, noise=dict(NOISE), liquid=-3.0))
    assert script.run(2 * 86_400).changes() == []


def test_loads_from_a_tank_raise_nothing() -> None:
    """The probe reads what it reads while a truck is loaded; the brine is judged when it stands."""
    world = World(level=2.0, noise=dict(NOISE))
    script = Script(tank(), world=world)
    for truck in range(4):
        begin = 1000 + truck * 1200
        script.at(begin, open=1.0, running=1.0, strength=0.15)
        script.at(begin + 300, running=0.0, strength=0.233)
    assert script.run(6000).changes() == []


def test_what_no_brine_reads_is_told_as_unknown_in_the_morning() -> None:
    """A covered probe in a standing tank that reads next to nothing: an alarm of low priority."""
    script = Script(tank(), world=World(says={"cond": 0.0})).run(3000)
    assert len(script.raised(UNKNOWN)) == 1
    assert script.raised(WEAK) == []
    assert "hydrometer" in text_of(script.texts("raised")[0])


def test_zero_conductivity_is_a_reading() -> None:
    """0.0 is a dry or broken probe, never missing data and never weak brine."""
    script = Script(with_sensors("cond", "temp"), world=World(says={"cond": 0.0})).run(3000)
    assert script.raised(WEAK) == []
    assert script.raised("sensor-silent") == []


def test_other_brine_is_not_judged_by_the_curve_of_sodium_chloride() -> None:
    """Magnesium chloride in the tank: no strength, no false alarm."""
    other = replace(
        tank(), vessels={"main": replace(tank().vessels["main"], brine="magnesium chloride")}
    )
    assert Script(other, world=World(strength=0.1)).run(3000).changes() == []


def storm_night(seed: int, strength: float, *, loads: int) -> Script:
    """Trucks one after another, the fill going on between and under them: it never stands."""
    world = World(level=1.2, noise=dict(NOISE), fill=0.9e-3, strength=strength, open=1.0)
    script = Script(tank(), seed=seed, world=world)
    for load in range(loads):
        begin = 300 + load * 900
        script.at(begin, running=1.0).at(begin + 270, running=0.0)
    return script


def test_far_too_weak_brine_is_told_on_a_night_on_which_the_tank_never_stands() -> None:
    """Loaded from and filled all night: two loads and it is announced, in the middle of it."""
    for seed in range(5):
        script = storm_night(seed, 0.18, loads=6).run(5400)
        assert within(script.raised(WEAK), 1200, 2400), seed
        assert script.raised(STRONG) == []


def test_a_little_weak_on_such_a_night_waits_until_the_tank_stands() -> None:
    """Under by two of this probe's uncertainties: told of a standing tank, not of a moving one."""
    for seed in range(5):
        script = storm_night(seed, 0.205, loads=6).at(5400, fill=0.0).run(7000)
        assert within(script.raised(WEAK), 5400, 5400 + TEN_MINUTES), seed


def test_far_too_weak_under_a_fill_and_one_truck_is_still_a_batch() -> None:
    """A single load in a long fill with fresh water at the probe raises nothing."""
    for seed in range(5):
        script = storm_night(seed, 0.15, loads=1).at(5000, strength=0.233).at(5400, fill=0.0)
        assert script.run(7000).changes() == [], seed


def test_good_brine_on_such_a_night_raises_nothing() -> None:
    """Nor do readings that are wild now and then: a bubble on the probe every few minutes."""
    for seed in range(3):
        script = storm_night(seed, 0.2265, loads=10)
        for bubble in range(300, 9000, 240):
            script.at(bubble, strength=0.17).at(bubble + 20, strength=0.2265)
        assert script.run(9000).changes() == [], seed


def test_a_strength_at_its_margin_is_told_by_its_middle_not_by_its_luckiest_three_minutes() -> None:
    """Over the limit by one and a half standard uncertainties, with noise as large: it is told."""
    noise = {"level": 0.003, "cond": 0.15, "temp": 0.1}
    calm = Script(tank(), seed=0, world=World(strength=0.215, liquid=5.0)).run(900)
    found = [
        one for one in calm.outputs if isinstance(one, Derived) and one.name == "main-strength"
    ][-1]
    assert found.standard_uncertainty is not None
    limit = found.value + 1.6 * found.standard_uncertainty
    for seed in range(5):
        world = World(strength=0.215, liquid=5.0, noise=noise)
        script = Script(with_sensors(*TANK, strength=Strength(low=limit)), seed=seed, world=world)
        assert len(script.run(1800).raised(WEAK)) == 1, seed
