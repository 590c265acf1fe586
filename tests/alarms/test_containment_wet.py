"""Liquid in the containment: told at two centimetres, what it likely is and how fast it comes."""

import json
from dataclasses import asdict, replace

import pytest

from brineward.alarms.containment_wet import Wet
from brineward.alarms.registry import alarms_at, coverage, site_of
from brineward.plant.plan import AlarmSettings
from brineward.readings.entries import ModeSet
from brineward.readings.modes import Mode
from brineward.readings.outputs import Priority, TextDue
from engine.scripted import Script, text_of
from wet_depot import AROUND_M2, WetWorld, wet_depot, with_hopper

ALARM = "containment-wet"
CENTIMETRE_AN_HOUR = 0.01 / 3600 * AROUND_M2
"""m3/s into the containment."""


def filling(
    world: WetWorld, *sensors: str, rate: float, since: int = 600, until: int = 9000
) -> Script:
    """Liquid comes from ten minutes on, so many centimetres an hour."""
    script = Script(wet_depot(*sensors), world=world)
    return script.at(since, gain=rate * CENTIMETRE_AN_HOUR).run(until)


def finding(script: Script) -> Wet:
    """What is found now, as the depot's state has it."""
    [alarms] = [json.loads(one)["book"]["alarms"] for one in script.engine.snapshots().values()]
    return Wet(**alarms[f"{ALARM}/containment"][0]["finding"])


def told(script: Script) -> str:
    """The first text about it."""
    return next(text_of(one) for one in script.texts("raised") if "ontainment" in text_of(one))


def test_it_is_told_by_the_time_it_is_two_centimetres() -> None:
    """1.5 cm an hour, 2 cm after 80 min: never late, not before half of it is there."""
    script = filling(WetWorld(level=2.0), rate=1.5)
    (raised,) = script.raised(ALARM)
    assert 600 + 2400 < raised <= 600 + 4800 + 600


@pytest.mark.parametrize("off", [-0.004, 0.004, 0.008])
def test_a_zero_that_is_off_tells_no_dry_floor_and_comes_in_time(off: float) -> None:
    """The data sheet says 3 mm; a sensor that is off by more is still no liquid, and late by no
    more than ten minutes.
    """
    dry = Script(wet_depot(), world=WetWorld(outside=off, level=2.0)).run(7200)
    assert dry.raised(ALARM) == []
    wet = WetWorld(outside=off, level=2.0)
    (raised,) = filling(wet, rate=1.5).raised(ALARM)
    assert raised <= 600 + 4800 + 600


def test_the_tank_that_loses_it_is_named() -> None:
    """200 L/h out of the tank and into the containment, no pump running."""
    script = Script(wet_depot("running", "outdoors"), world=WetWorld(level=2.0))
    script.at(600, gain=0.2 / 3600, extra=-0.2 / 3600).run(9000)
    assert "main tank leak?" in told(script)
    found = finding(script)
    assert found.gain_m3_per_s == pytest.approx(0.2 / 3600, rel=0.1)
    assert found.volume_m3 == pytest.approx(0.2 * 8400 / 3600, rel=0.05)


def test_a_load_meanwhile_is_no_leak() -> None:
    """The pump takes from the tank what the rain brings into the containment."""
    world = WetWorld(outside=0.03, level=2.0, delivers=0.0005)
    world.outdoors = 4.0
    script = Script(wet_depot("running", "outdoors"), world=world)
    script.at(10, gain=0.0005, running=1.0, open=1.0).run(1500)
    assert finding(script).source == "rain"


@pytest.mark.parametrize(
    ("outdoors", "source", "said"),
    [(4.0, "rain", "rain or melt water?"), (-5.0, "cold", "a leak?")],
)
def test_the_weather_says_what_it_may_be(outdoors: float, source: str, said: str) -> None:
    """Where no tank falls: above freezing it is likely rain, below it can't be. Both with a "?"."""
    world = WetWorld(level=2.0)
    world.outdoors = outdoors
    script = filling(world, "outdoors", "running", rate=1.5, since=9000, until=15_000)
    assert finding(script).source == source
    (raised,) = script.raised(ALARM)
    assert raised > 3 * 3600, "after nine in the evening"
    assert [text.time for text in script.texts("raised")] == [] or source == "cold"
    script.run(16 * 3600 + 60)
    assert said in told(script), "a leak at once, rain at ten, after a morning's work"


def rain(rate: float) -> Script:
    """Rain from half past eight in the evening on, so many centimetres an hour; a daily line at
    seven."""
    duty = replace(wet_depot().duty, daily_minutes=7 * 60)
    its = wet_depot("outdoors", "running", duty=duty)
    world = WetWorld(level=2.0)
    world.outdoors = 4.0
    return Script(its, world=world).at(9000, gain=rate * CENTIMETRE_AN_HOUR)


def alone(script: Script) -> list[TextDue]:
    """The texts about an alarm, which is all but the daily line."""
    return [one for one in script.texts() if one.kind != "news"]


def test_rain_far_from_the_rim_is_in_the_daily_line_and_has_no_text_of_its_own() -> None:
    """It is raised as soon as ever, and the line says what to do; nobody is texted besides, also
    not when it stops, and the frost leaves no guess at what it was."""
    script = rain(1.5).at(20_000, gain=0.0, outdoors=-5.0).run(13 * 3600 + 60)
    (raised,) = script.raised(ALARM)
    assert raised <= 9000 + 4800 + 600
    assert alone(script) == []
    (line,) = [text_of(one) for one in script.texts("news")]
    assert "containment wet" in line
    assert "Stay out. Empty it from its edge. No brine to yard or drain." in line
    assert alone(script.run(20 * 3600)) == []


def test_the_daily_line_says_what_is_done_about_rain() -> None:
    """While it rains: that it is pumped out, and that it may be brine after all."""
    (line,) = [text_of(one) for one in rain(0.7).run(13 * 3600 + 60).texts("news")]
    assert "containment wet, rain or melt water?" in line
    assert "Stay out. Empty from edge. If salty, not to yard or drain." in line


@pytest.mark.parametrize(
    ("rate", "low_for", "texted_by", "said"),
    [(2.5, 8, 14, "Full in 1"), (1.0, 9, 11, "rain or melt water? ")],
    ids=["twelve hours from the rim", "ten centimetres deep"],
)
def test_rain_that_comes_near_or_lasts_is_texted(
    rate: float, low_for: int, texted_by: int, said: str
) -> None:
    """2.5 cm an hour fill the 60 cm in a day: it is low until twelve hours are left, and then
    medium and texted, the rim half a day away. And a leak from a tank that is topped up looks like
    rain on a mild day: at ten centimetres, after ten hours, people are texted all the same."""
    script = rain(rate).run(9000 + low_for * 3600)
    assert alone(script) == []
    text = alone(script.run(9000 + texted_by * 3600))[0]
    assert text.priority is Priority.MEDIUM
    assert said in text_of(text)


def test_a_leak_after_rain_is_texted_at_once() -> None:
    """Rain was raised as low. Then the tank falls by what comes in: that is graver."""
    script = rain(1.5).at(18_000, gain=0.2 / 3600, extra=-0.2 / 3600).run(30_000)
    text = alone(script)[0]
    assert text.priority is Priority.MEDIUM
    assert "main tank leak?" in text_of(text)


def test_rain_in_it_hides_no_tank_that_leaks_into_the_ground() -> None:
    """5 cm of rain stand there, no more, while the tank loses 200 L/h through a buried pipe."""
    world = WetWorld(outside=0.05, level=2.0)
    world.outdoors = 4.0
    script = Script(wet_depot("running", "outdoors"), world=world)
    script.at(600, extra=-0.2 / 3600).run(4 * 3600)
    assert script.raised(ALARM)
    assert finding(script).source == "rain"
    assert script.raised("tank-leak", "main")


def test_without_a_thermometer_nothing_is_guessed() -> None:
    """Neither rain nor a leak."""
    script = filling(WetWorld(level=2.0), rate=1.5)
    assert finding(script).source == ""
    assert told(script).split(": ")[1].startswith("containment wet. ")


@pytest.mark.parametrize(
    ("reads", "said"),
    [(18.0, "brine in the containment"), (0.3, "not brine"), (4.0, "rain or melt water?")],
)
def test_a_probe_tells_brine_from_water(reads: float, said: str) -> None:
    """18 S/m is brine and 0.3 is rain, whatever the weather; between them it says nothing."""
    world = WetWorld(level=2.0)
    world.sump, world.outdoors = reads, 4.0
    assert said in told(filling(world, "sump", "outdoors", rate=1.5))


@pytest.mark.parametrize(("rate", "grave"), [(1.5, Priority.MEDIUM), (60.0, Priority.HIGH)])
def test_what_is_soon_at_the_rim_is_grave(rate: float, grave: Priority) -> None:
    """60 cm in an hour, the whole containment; and the text has the time."""
    script = filling(WetWorld(level=2.0), rate=rate, until=600 + (600 if rate > 10 else 8000))
    found = finding(script)
    assert found.priority == grave
    room = (0.6 - (found.value or 0.0)) / (rate * 0.01)
    assert found.seconds_to_rim == pytest.approx(3600 * room, rel=0.1)
    assert "Full in " in told(script)


def test_a_tank_that_soon_has_run_out_is_grave() -> None:
    """1 m3/h: the rim is far, but 2 m of brine are gone in nine hours; at 0.2 m3/h they last."""
    for loss, grave in ((1.0, Priority.HIGH), (0.2, Priority.MEDIUM)):
        script = Script(wet_depot("running"), world=WetWorld(level=2.0))
        script.at(600, gain=loss / 3600, extra=-loss / 3600).run(9000)
        assert finding(script).source == "tank"
        assert finding(script).priority == grave


def test_it_clears_when_it_is_pumped_out_and_not_for_less() -> None:
    """From 10 cm; one that is left at 3 cm stays active."""
    script = Script(wet_depot(), world=WetWorld(outside=0.10, level=2.0))
    script.at(1200, gain=-0.002).at(2022, gain=0.0).run(6000)
    assert script.world.truth("outside") == pytest.approx(0.03, abs=0.002)
    assert script.cleared(ALARM) == []
    script.at(6000, gain=-0.002).run(8000)
    assert len(script.raised(ALARM)) == len(script.cleared(ALARM)) == 1


def test_while_the_depot_is_drained_it_is_quiet_only_as_it_falls() -> None:
    """Pumped out it is as it should be; where the pump stops with half of it left it is told."""
    script = Script(wet_depot(), world=WetWorld(outside=0.0, level=2.0))
    its = script.plan.id
    drain = ModeSet(depot=its, time=script.time, received=script.time, mode=Mode.DRAINING, by="")
    script.step(drain)
    script.at(10, outside=0.20).at(11, gain=-0.002).at(1200, gain=0.0).run(1000)
    assert [t for t in script.raised(ALARM) if t > 400] == []
    script.run(3000)
    assert [t for t in script.raised(ALARM) if t > 1200]


def test_the_config_sets_the_limit() -> None:
    """And a coarse level is never believed within three of its accuracies of the floor."""
    own = wet_depot(alarms={ALARM: AlarmSettings(limit=0.05)})
    (watch,) = [one for one in alarms_at(site_of(own)) if one.record.id == ALARM]
    assert watch.condition.limit == pytest.approx(0.05 - 2 * 0.00294, abs=1e-4)
    level = replace(own.sensors["outside"], standard_uncertainty=0.02)
    coarse = replace(wet_depot(), sensors={"outside": level})
    (watch,) = [one for one in alarms_at(site_of(coarse)) if one.record.id == ALARM]
    assert watch.condition.limit == pytest.approx(3 * 0.0346, abs=1e-3)


def test_a_finding_is_kept_as_plain_data() -> None:
    """What a state of the engine holds reads back as the same finding."""
    found = finding(filling(WetWorld(level=2.0), rate=3.0, until=6000))
    assert Wet(**json.loads(json.dumps(asdict(found)))) == found


def test_where_it_is_covered() -> None:
    """By its level, with what else tells where it is from; a probe there would help."""
    (found,) = [one for one in coverage(wet_depot("outdoors")) if one.alarm == ALARM]
    assert (found.how, found.by) == ("covered", ("outside", "level", "outdoors"))
    assert "conductivity" in found.would_help
    (probed,) = [one for one in coverage(wet_depot("sump")) if one.alarm == ALARM]
    assert probed.would_help == ""
    its = with_hopper(wet_depot())
    bare = replace(its, sensors={"level": its.sensors["level"]})
    (blind,) = [one for one in coverage(bare) if one.alarm == ALARM]
    assert (blind.how, blind.would_help) == ("blind", "a level in containment")
