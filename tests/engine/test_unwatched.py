"""Dangers that nobody watches: who says so, once, and when nobody need."""

from dataclasses import replace

import pytest

from brineward.alarms.registry import ALARMS, CATALOGUE
from brineward.plant.plan import AlarmSettings, DepotPlan, Measure
from brineward.readings.modes import Mode
from brineward.readings.outputs import AlarmChanged, Priority
from depots import DEPOT, plan, sensor
from engine.scripted import Script, World, text_of, with_sensors
from engine.test_modes import modes_at
from wet_depot import WetWorld, wet_depot, with_hopper

ALARM = "dangers-unwatched"
QUIET = {"sensor-silent": AlarmSettings(enabled=False)}


def dangers(script: Script) -> list[str]:
    """What the engine knows to be unwatched, the gravest first."""
    return [one.danger for one in script.engine._depots[DEPOT]._watch.unwatched]


def silenced(name: str, its: DepotPlan | None = None, *, until: float = 4000) -> Script:
    """A healthy depot that nothing fills by itself: a sensor falls silent after ten minutes."""
    script = Script(its or plan(fills=()), world=World())
    return script.at(600, lambda w: w.silent.add(name)).run(until)


def raised_text(script: Script, alarm: str) -> str:
    """The first text of an alarm's first occurrence."""
    number = next(one.number for one in script.changes(alarm) if one.number)
    return text_of(next(t for t in script.texts("raised") if t.number == number))


@pytest.mark.parametrize(
    ("sensor", "blinds"),
    [
        ("level", ["overflow", "tank leak", "weak brine", "strong brine"]),
        ("shelter", ["freezing"]),
        ("running", ["closed valve", "dry pump", "pump left on"]),
        ("cond", ["weak brine", "strong brine"]),  # no brine freezes at 5 degC
        ("temp", ["frozen brine", "weak brine", "strong brine"]),
        ("valve", []),
    ],
)
def test_a_silent_sensor_names_what_it_leaves_unwatched(sensor: str, blinds: list[str]) -> None:
    """In its own text, and nothing else is announced: one cause, one text.

    A silent valve switch blinds nothing while the level shows the same.
    """
    script = silenced(sensor)
    assert sorted(dangers(script)) == sorted(blinds)
    text = raised_text(script, "sensor-silent")
    if blinds:
        assert f"Unwatched: {dangers(script)[0]}" in text
    else:
        assert "nwatched" not in text
    assert script.raised(ALARM) == []
    assert {change.alarm for change in script.changes()} == {"sensor-silent"}


def test_it_sees_again_when_the_sensor_speaks() -> None:
    """Nothing is left behind."""
    script = silenced("level")
    script.at(script.now + 1, lambda w: w.silent.clear()).run(script.now + 600)
    assert dangers(script) == []


def test_an_implausible_sensor_names_it_too() -> None:
    """A level outside its range for long: its text says that overflow is unwatched."""
    script = Script(plan()).at(600, lambda w: w.says.update(level=99.0)).run(1200)
    assert "Unwatched: overflow" in raised_text(script, "sensor-implausible")
    assert script.run(4000).raised(ALARM) == []


def test_an_implausible_level_in_a_dry_containment_names_it_too() -> None:
    """What was dry when it was last believed is known no longer, though it has no new value."""
    script = Script(wet_depot(), world=WetWorld(level=1.5))
    script.at(600, lambda w: w.says.update(outside=999.0)).run(1200)
    assert {"wet containment", "floating tank"} <= set(dangers(script))
    assert "Unwatched: floating tank" in raised_text(script, "sensor-implausible")


def left_unwatched(name: str, *, silent: bool) -> set[str]:
    """The dangers that nobody watches once a sensor of a quiet depot is silent, or out of range."""
    if name in ("level", "outside"):
        script = Script(wet_depot(), world=WetWorld(level=1.5))
    else:
        script = Script(plan(fills=()), world=World())
    if silent:
        script.at(600, lambda w: w.silent.add(name))
    else:
        for second in range(600, 900, 10):
            script.at(second, lambda w, at=second: w.says.update({name: 500.0 + at}))
    return set(dangers(script.run(1500)))


@pytest.mark.parametrize("name", ["level", "outside", "running", "cond", "temp"])
def test_an_implausible_sensor_leaves_unwatched_what_a_silent_one_does(name: str) -> None:
    """A pump that was off or a floor that was dry when it was last believed need not be so now."""
    silent = left_unwatched(name, silent=True)
    assert silent
    assert left_unwatched(name, silent=False) >= silent


def test_what_no_sensors_alarm_tells_is_told_after_half_an_hour() -> None:
    """The silence's own alarm is off in the config: one text for all that it blinds, medium."""
    script = silenced("level", plan(fills=(), alarms=QUIET))
    (at,) = script.raised(ALARM)
    assert 600 + 50 + 1800 <= at <= 600 + 60 + 1801
    text = raised_text(script, ALARM)
    assert "nobody watches for overflow" in text
    assert "and 2 more" in text
    assert len(script.texts("raised", "yard")) == 1


@pytest.mark.parametrize(
    ("duty", "where"),
    [
        ({"replies": True}, "For all, reply TH UNWATCHED."),
        ({"page": True}, "Full list: on the page."),
        ({}, "Full list: brineward status."),
    ],
)
def test_the_text_says_where_all_of_them_are(duty: dict[str, bool], where: str) -> None:
    """By a reply where replies are heard, on the page where there is one, or else by the command;
    all in one segment with what to do."""
    its = plan(fills=(), alarms=QUIET)
    script = silenced("level", replace(its, duty=replace(its.duty, **duty)))
    text = raised_text(script, ALARM)
    assert f"Check these on site. {where}" in text


def test_a_shorter_blindness_is_not_told() -> None:
    """Twenty minutes are no half hour, and the next twenty begin again."""
    script = Script(plan(fills=(), alarms=QUIET))
    for began in (600, 2400, 4200):
        script.at(began, lambda w: w.silent.add("level"))
        script.at(began + 1200, lambda w: w.silent.clear())
    assert script.run(6000).raised(ALARM) == []


def test_a_blending_tank_is_nobodys_blindness() -> None:
    """A fill of an hour keeps the strength from being judged, as it should."""
    script = Script(plan(fills=(), alarms=QUIET), world=World(level=0.8, fill=0.9e-3)).run(5400)
    assert dangers(script) == []
    assert script.raised(ALARM) == []


def test_a_silent_depot_says_it_all() -> None:
    """Every sensor silent: depot-silent is told, and nothing of single dangers."""
    script = Script(plan(fills=(), alarms=QUIET))
    script.at(600, lambda w: w.silent.update(plan().sensors)).run(6000)
    assert script.raised("depot-silent") != []
    assert script.raised(ALARM) == []
    script.at(6001, lambda w: w.silent.clear()).run(9000)
    assert script.raised(ALARM) == []
    assert dangers(script) == []


def test_what_was_about_to_be_raised_is_raised_all_the_same() -> None:
    """The shelter's alarm waits for its delay when its thermometer dies with the power."""
    script = Script(with_sensors("shelter", "level"), world=World())
    script.at(600, shelter=-3.0).at(1050, lambda w: w.silent.add("shelter")).run(2000)
    (raised,) = script.raised("shelter-freezing")
    assert raised > script.raised("sensor-silent")[0] - 60, "after the silence began"


def test_what_is_active_stays_active_without_its_sensor() -> None:
    """No data never clears an alarm."""
    script = Script(with_sensors("shelter", "level"), world=World(shelter=-3.0))
    script.at(1200, lambda w: w.silent.add("shelter")).run(6000)
    assert script.cleared("shelter-freezing") == []


def test_it_lasts_through_a_restart() -> None:
    """Half an hour is counted from when it began, whoever was restarted meanwhile."""
    script = Script(plan(fills=(), alarms=QUIET)).at(600, lambda w: w.silent.add("level"))
    script.at(1500, lambda _: script.restart())
    assert script.run(4000).raised(ALARM) == silenced("level", plan(fills=(), alarms=QUIET)).raised(
        ALARM
    )


def test_what_is_told_of_a_grave_danger_is_medium() -> None:
    """Overflow is of high priority; weak brine by itself waits for the morning."""
    grave, other = (silenced(name, plan(fills=(), alarms=QUIET)) for name in ("level", "cond"))
    found = []
    for script in (grave, other):
        book = script.engine._depots[DEPOT]._book
        [booked] = [one for one in book.all if one.configured.record.id == ALARM]
        found.append(booked.life.finding.priority)
    assert found == [Priority.MEDIUM, None]


def test_every_alarm_about_the_plant_has_words_for_its_danger() -> None:
    """Where it can't be judged, it can be named: two or three words that are no other's.

    Left out are what has no danger of its own, or an alarm that tells it.
    """
    its = {alarm.record.id for alarm in ALARMS if list(alarm.coverage(plan()))}
    its |= {alarm.record.id for alarm in ALARMS if alarm.record.danger}
    named = {one: CATALOGUE[one].danger for one in its}
    assert {one for one, danger in named.items() if not danger} <= {
        "strength-unknown",
        "strengths-disagree",
        "water-left-on",
        "fill-weak",
        "salt-half",
    }
    words = [danger for danger in named.values() if danger]
    assert len(set(words)) == len(words)
    assert all(len(word) <= 20 for word in words)


def test_nothing_is_said_twice_in_a_day_of_one_silence() -> None:
    """A level that stays silent is one occurrence of one alarm."""
    script = silenced("level", until=26 * 3600)
    raised = [one for one in script.outputs if isinstance(one, AlarmChanged)]
    assert len(raised) == 1


def test_they_are_named_in_the_same_order_after_a_restart() -> None:
    """Several that became unwatched at the same moment: a snapshot keeps no order of its own."""
    script = silenced("cond").at(4100, lambda w: w.silent.add("level")).run(4300)
    before = dangers(script)
    assert len(before) == 4
    script.restart()
    assert dangers(script) == before


def test_another_grave_danger_is_told_again_once() -> None:
    """The shelter's thermometer dies after the level: half an hour later one more text names its
    danger first; what comes back and goes again is not told a third time, and a restart between
    the two changes nothing.
    """
    script = silenced("level", plan(fills=(), alarms=QUIET))
    assert len(script.raised(ALARM)) == 1
    script.at(4500, lambda w: w.silent.add("shelter")).at(5000, lambda _: script.restart())
    script.run(4500 + 1790)
    assert len(script.raised(ALARM)) == 1, "it has not lasted long enough yet"
    script.run(4500 + 1900)
    assert len(script.raised(ALARM)) == 2
    body = text_of(script.texts("again")[-1])
    assert "got worse" in body
    assert "nobody watches for freezing, overflow" in body
    script.at(script.now + 1, lambda w: w.silent.discard("shelter"))
    script.at(script.now + 600, lambda w: w.silent.add("shelter")).run(script.now + 4000)
    assert len(script.raised(ALARM)) == 2


def test_what_is_raised_with_several_grave_dangers_tells_none_of_them_twice() -> None:
    """The level and the shelter's thermometer die ten minutes apart: one text names both."""
    script = silenced("level", plan(fills=(), alarms=QUIET), until=1200)
    script.at(1201, lambda w: w.silent.add("shelter")).run(6000)
    assert len(script.raised(ALARM)) == 1
    assert "freezing" in raised_text(script, ALARM)


def laid_up(*silent: str, at: int = 3000, until: int = 9000) -> Script:
    """Laid up at 1000 s with an empty tank; these fall silent then, and water comes in outside."""
    world = WetWorld(outside=0.02, level=0.0)
    script = modes_at(Script(wet_depot("running"), world=world), (1000, Mode.LAID_UP))
    script.at(at, lambda w: w.silent.update(silent))
    script.at(at + 100, lambda w: setattr(w, "outside", 1.6))
    return script.run(until)


def test_a_sensor_that_dies_in_a_laid_up_depot_is_told_by_what_it_leaves_unwatched() -> None:
    """The containment's level: an empty tank may float, and nobody would know. Its own alarm is
    quiet in that mode."""
    script = laid_up("outside")
    (raised,) = script.raised(ALARM)
    assert 3000 + 1800 < raised <= 3000 + 1800 + 120
    assert "uplift" in raised_text(script, ALARM) or "float" in raised_text(script, ALARM)
    assert "freezing" not in raised_text(script, ALARM), "nobody need watch for that now"


def hopper_level_dies(mode: Mode) -> Script:
    """A depot in this mode from 1000 s on; the level in its hopper falls silent at 3000 s."""
    plain = with_hopper(wet_depot("running"))
    level = sensor("hopper-level", Measure.LEVEL, "hopper", low=-0.1, high=2.0)
    its = replace(plain, sensors={**plain.sensors, "hopper-level": level})
    empty = mode is Mode.LAID_UP
    world = WetWorld(outside=0.004, level=0.0 if empty else 1.5)
    world.says["hopper-level"] = 0.0 if empty else 1.2
    world.noise["hopper-level"] = 0.001
    script = modes_at(Script(its, world=world), (1000, mode))
    return script.at(3000, lambda w: w.silent.add("hopper-level")).run(6000)


def test_a_hoppers_level_that_dies_in_a_laid_up_depot_is_told_too() -> None:
    """What runs into it would freeze there unseen, and that is one of what it names. In service its
    own alarm tells it, and nobody asks about laying up.
    """
    script = hopper_level_dies(Mode.LAID_UP)
    (raised,) = script.raised(ALARM)
    assert 3000 + 1800 < raised <= 3000 + 1800 + 120
    assert "nobody watches for" in raised_text(script, ALARM)
    assert "liquid while laid up" in dangers(script)
    served = hopper_level_dies(Mode.IN_SERVICE)
    assert served.raised("sensor-silent", "hopper-level")
    assert served.raised(ALARM) == []
    assert "overflow" in dangers(served)
    assert "liquid while laid up" not in dangers(served)


def test_what_was_switched_off_before_it_was_laid_up_stays_unsaid() -> None:
    """It has not reported since the mode began: that is how it should be."""
    assert laid_up("outside", at=900).raised(ALARM) == []


def test_a_laid_up_depot_that_is_switched_off_as_a_whole_is_told_as_that() -> None:
    """Once, by the text that says so; and what was raised before isn't cleared by it."""
    names = list(wet_depot("running").sensors)
    assert laid_up(*names).raised(ALARM) == []
    script = laid_up("outside")
    script.at(script.now + 10, lambda w: w.silent.update(names)).run(script.now + 8000)
    assert script.cleared(ALARM) == []


def laid_up_doubted(sensor: str, said: float | None, *, at: int = 3000) -> Script:
    """Laid up at 1000 s with an empty tank and a dry containment; a sensor says the same from then
    on."""
    script = Script(wet_depot("running"), world=WetWorld(outside=0.004, level=0.004))
    modes_at(script, (1000, Mode.LAID_UP)).at(at, lambda w: w.noise.pop(sensor))
    return script.at(at, lambda w: w.says.update({sensor: said})).run(9000)


@pytest.mark.parametrize("said", [999.0, None, 0.004], ids=["out of range", "no value", "stuck"])
def test_a_sensor_that_is_implausible_in_a_laid_up_depot_is_told_by_what_it_leaves_unwatched(
    said: float | None,
) -> None:
    """As one that dies: its own alarm is quiet in that mode, and an empty tank may float."""
    script = laid_up_doubted("outside", said)
    (raised,) = script.raised(ALARM)
    assert 3000 + 1800 < raised <= 3000 + 1800 + 720
    assert "uplift" in raised_text(script, ALARM) or "float" in raised_text(script, ALARM)
    assert script.raised("sensor-implausible") == []
    script.at(9001, lambda w: w.noise.update(outside=0.0008))
    script.at(9001, lambda w: w.says.clear()).run(9400)
    assert len(script.cleared(ALARM)) == 1


@pytest.mark.parametrize("said", [999.0, None])
def test_what_was_implausible_before_it_was_laid_up_stays_unsaid(said: float | None) -> None:
    """A transmitter without power, whose gateway goes on: no value since the mode began."""
    script = laid_up_doubted("outside", said, at=900)
    assert dangers(script) != []
    assert script.raised(ALARM) == []


def test_an_empty_tank_whose_level_rests_at_nothing_stays_unsaid_while_laid_up() -> None:
    """So a drained tank's level does; one that is stuck higher up is told."""
    rests = laid_up_doubted("level", 0.013)
    assert dangers(rests) != []
    assert rests.raised(ALARM) == []
    assert len(laid_up_doubted("level", 0.9).raised(ALARM)) == 1


def test_a_level_that_dies_while_the_depot_is_filled_up_is_told() -> None:
    """Half an hour after the tank may run over without anybody knowing."""
    script = modes_at(Script(world=World(level=0.3, fill=0.9e-3)), (100, Mode.FILLING_UP))
    script.at(1900, lambda w: w.silent.add("level")).run(6000)
    (raised,) = script.raised(ALARM)
    assert 1900 + 1800 < raised <= 1900 + 1800 + 130
    assert "overflow" in raised_text(script, ALARM)
    assert script.raised("sensor-silent") == []
    script.at(6100, lambda w: w.silent.clear()).run(6400)
    assert len(script.cleared(ALARM)) == 1


def test_a_level_that_comes_back_late_while_it_is_filled_up_stays_unsaid() -> None:
    """It was off when the mode began; the next step names it."""
    script = modes_at(Script(world=World(level=0.3)), (200, Mode.FILLING_UP))
    script.at(100, lambda w: w.silent.add("level")).run(6000)
    assert script.raised(ALARM) == []


def test_back_in_service_a_silent_sensors_own_alarm_tells_it() -> None:
    """And this one clears: one cause, one alarm."""
    script = modes_at(Script(world=World()), (100, Mode.FILLING_UP), (5000, Mode.IN_SERVICE))
    script.at(1900, lambda w: w.silent.add("level")).run(5600)
    assert len(script.raised(ALARM)) == len(script.cleared(ALARM)) == 1
    assert len(script.raised("sensor-silent", "level")) == 1


def test_a_restart_in_such_a_mode_changes_nothing() -> None:
    """What nobody need watch for in a mode is known after it as well."""
    straight = laid_up("outside", until=5000)
    world = WetWorld(outside=0.02, level=0.0)
    often = modes_at(Script(wet_depot("running"), world=world), (1000, Mode.LAID_UP))
    often.at(3000, lambda w: w.silent.add("outside"))
    often.at(3100, lambda w: setattr(w, "outside", 1.6))
    while often.now < 5000:
        often.run(often.now + 250)
        often.restart()
    assert repr(often.outputs) == repr(straight.outputs)
