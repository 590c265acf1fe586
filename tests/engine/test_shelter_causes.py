"""Why the shelter is near freezing, scripted: the text names what a sensor shows, and no more."""

from itertools import product

import pytest

from brineward.alarms.cold_causes import (
    DOOR_SHUT,
    NAMED,
    NO_POWER,
    ColdCauses,
    response,
)
from brineward.alarms.registry import site_of
from brineward.plant.plan import AlarmSettings, DepotPlan, Measure
from brineward.readings.outputs import AlarmChanged
from brineward.wording.gsm import septets
from depots import START, plan, reading, sensor
from engine.scripted import Script, World, text_of

ALARM = "shelter-freezing"
SENSORS = {
    "mains": sensor("mains", Measure.POWER, "mains"),
    "outlet": sensor("outlet", Measure.POWER, "shelter"),
    "pump-outlet": sensor("pump-outlet", Measure.POWER, "pump"),
    "supply": sensor("supply", Measure.POWER, "heater"),
    "heats": sensor("heats", Measure.RUNNING, "heater"),
    "door": sensor("door", Measure.OPEN, "door"),
    "outdoors": sensor("outdoors", Measure.TEMPERATURE, "outdoors"),
}
OFF = AlarmSettings(enabled=False)


def depot(*names: str, off: tuple[str, ...] = ()) -> DepotPlan:
    """The small depot with these sensors besides, and these alarms switched off."""
    sensors = {**plan().sensors, **{name: SENSORS[name] for name in names}}
    return plan(sensors=sensors, alarms={**plan().alarms, **dict.fromkeys(off, OFF)})


def text_at(
    value: float, says: dict[str, float], *, off: tuple[str, ...] = (), silent: str = ""
) -> str:
    """The text of a shelter that is so cold, where these sensors say that."""
    world = World(shelter=value, says=dict(says))
    script = Script(depot(*says, off=off), world=world)
    if silent:
        script.at(60, lambda w: w.silent.add(silent))
    script.run(900)
    assert len(script.raised(ALARM)) == 1
    return next(t for t in map(text_of, script.texts("raised", "yard")) if "freezing" in t)


def test_in_a_power_cut_it_says_mains_lost_and_to_drain_the_lines() -> None:
    """Whatever the outlets show besides; shutting a door that is shut saves no line."""
    text = text_at(2.0, {"mains": 0.0, "outlet": 0.0, "door": 0.0})
    assert "shelter near freezing, mains lost" in text
    assert "Drain water lines. Never burn fuel inside. Call the utility." in text
    assert "Shut door" not in text


@pytest.mark.parametrize("says", [{"outlet": 0.0}, {"outlet": 0.0, "mains": 1.0, "door": 0.0}])
def test_a_dead_outlet_in_the_shelter_is_no_power_and_is_not_reset_wet(
    says: dict[str, float],
) -> None:
    """By the outlet's own switch, with or without one on the supply."""
    text = text_at(2.0, says)
    assert "shelter near freezing, no power" in text
    assert "Drain water lines. Never burn fuel inside. Wet: reset nothing." in text


def test_where_all_outlets_died_together_it_is_no_power() -> None:
    """None of them in the shelter, and no switch on the supply: the mains are likely lost."""
    its = {**SENSORS, "second-outlet": sensor("second-outlet", Measure.POWER, "mains-2")}
    sensors = {**plan().sensors, **{n: its[n] for n in ("pump-outlet", "second-outlet")}}
    world = World(shelter=2.0, says={"pump-outlet": 0.0, "second-outlet": 0.0})
    script = Script(plan(sensors=sensors), world=world).run(900)
    texts = [text_of(one) for one in script.texts("raised", "yard")]
    assert any("near freezing, no power" in text for text in texts), texts


def test_the_pumps_outlet_alone_says_nothing_of_the_heat() -> None:
    """It is dead, and the shelter's power is known by nothing: as if nothing were known."""
    text = text_at(2.0, {"pump-outlet": 0.0})
    assert "shelter near freezing. " in text
    assert "Shut door, drain water lines. Never burn fuel. Wet: reset nothing." in text


def test_a_switch_that_is_silent_says_nothing() -> None:
    """It showed no mains when it was last heard: nobody knows that any more."""
    assert "mains lost" not in text_at(2.0, {"mains": 0.0}, silent="mains")


def test_a_heater_without_supply_or_off_is_named_where_its_own_alarm_is_switched_off() -> None:
    """Else heater-failed holds this one back, and says so itself."""
    without = ("heater-failed",)
    assert ", no power" in text_at(2.0, {"supply": 0.0}, off=without)
    text = text_at(2.0, {"heats": 0.0, "supply": 1.0}, off=without)
    assert "shelter near freezing, heater off" in text
    assert "Check heater if dry." in text
    assert "near freezing. " in text_at(2.0, {"heats": 1.0}, off=without)


def test_a_heater_that_rests_as_it_always_has_is_not_named() -> None:
    """Above its limit, with no week known, a thermostat may still be content."""
    site = site_of(depot("heats"))
    for name in ("heats", "shelter"):
        take = site.trackers.sensors[name]
        site.trackers.take(take, reading(name, 0, 0.0 if name == "heats" else 4.0))
    causes = ColdCauses(site, 3.0)
    assert causes.likely(START, 4.0) == ""
    assert causes.likely(START, 2.9) == "heater off"


def test_a_door_that_is_shut_is_not_to_be_shut() -> None:
    """It is the heater or its power then; open, it is the door."""
    shut = text_at(2.0, {"door": 0.0})
    assert "Drain water lines. Never burn fuel inside. Check heater if dry." in shut
    text = text_at(2.0, {"door": 1.0})
    assert "shelter near freezing, door open" in text
    assert "Shut door, drain water lines. Never burn fuel inside." in text


def test_without_power_and_with_the_door_open_both_are_seen_to() -> None:
    """Power is named, and the door is to be shut all the same."""
    text = text_at(2.0, {"mains": 0.0, "door": 1.0})
    assert "near freezing, mains lost" in text
    assert "Shut door, drain water lines. Never burn fuel. Call the utility." in text


def test_the_log_says_how_cold_the_night_may_become() -> None:
    """As cold as the coldest hour of the last day, and three kelvins colder."""
    world = World(shelter=2.0, says={"outdoors": -8.0})
    script = Script(depot("outdoors"), world=world).run(900)
    [sentence] = [
        one.sentence
        for one in script.outputs
        if isinstance(one, AlarmChanged) and one.alarm == ALARM and one.number
    ]
    assert sentence.endswith("outdoors -11.0 C tonight")


@pytest.mark.parametrize(
    ("cause", "door_open"),
    list(product(("", DOOR_SHUT, "from later", *NAMED), (True, False))),
)
def test_each_response_is_safe_and_short(cause: str, door_open: bool) -> None:
    """Lines are drained, no fuel is burnt, a door is shut where it may be open, and power is reset
    by nobody who stands in the wet."""
    said = response(cause, door_open=door_open)
    assert septets(said) <= 80
    assert "drain water lines." in said.lower()
    assert "Never burn fuel" in said
    assert said.startswith("Shut door") is (door_open or not cause)
    assert ("reset" in said) is ("Wet: reset nothing." in said)
    if cause == NO_POWER:
        assert "Wet: reset nothing." in said
