"""Mains lost and outlets without power, scripted: by switches, and told from one another."""

from dataclasses import replace

import pytest

from brineward.plant.plan import DepotPlan, Measure
from brineward.plant.power import PowerTracker
from brineward.plant.trackers import Trackers
from brineward.readings.instants import SECOND
from brineward.readings.modes import Mode
from depots import START, plan, reading, sensor
from engine.scripted import Script, World, text_of, with_sensor, within
from engine.test_modes import modes_at
from engine.test_unwatched import dangers

MAINS, OUTLET = "mains-lost", "outlet-dead"
SWITCHES = {
    "mains": sensor("mains", Measure.POWER, "mains"),
    "outlet": sensor("outlet", Measure.POWER, "pump"),
    "heat": sensor("heat", Measure.POWER, "shelter"),
    "outdoors": sensor("outdoors", Measure.TEMPERATURE, "outdoors"),
}


def depot(*names: str) -> DepotPlan:
    """The small depot with these besides."""
    return plan(sensors={**plan().sensors, **{name: SWITCHES[name] for name in names}})


def world(outdoors: float = 10.0) -> World:
    """All have power."""
    return World(says={"mains": 1.0, "outlet": 1.0, "heat": 1.0, "outdoors": outdoors})


def off(*names: str) -> dict[str, float]:
    """What dead ones say."""
    return dict.fromkeys(names, 0.0)


def run(its: DepotPlan, *dead: str, outdoors: float = 10.0, until: int = 1000) -> Script:
    """These die at 300 s and have power again at 700 s."""
    script = Script(its, world=world(outdoors))
    script.at(300, lambda w: w.says.update(off(*dead)))
    script.at(700, lambda w: w.says.update(dict.fromkeys(dead, 1.0)))
    return script.run(until)


def test_lost_mains_are_raised_within_a_minute_and_hold_the_outlets_back() -> None:
    """By the switch on the supply: one text, though both outlets are dead too."""
    script = run(depot("mains", "outlet", "heat"), "mains", "outlet", "heat")
    assert within(script.raised(MAINS), 300, 330)
    assert script.raised(OUTLET) == []
    assert within(script.cleared(MAINS), 760, 770)
    assert len(script.texts("raised")) == 1


def test_a_laid_up_depot_may_have_its_power_off_and_is_raised_afresh_after() -> None:
    """Nobody is texted while it is laid up, nor of the outlets; once it is filled up again mains
    that are still dead are raised."""
    its = depot("mains", "outlet", "heat")
    script = Script(its, world=world())
    modes_at(script, (100, Mode.LAID_UP), (3000, Mode.FILLING_UP))
    script.at(300, lambda w: w.says.update(off("mains", "outlet", "heat")))
    assert script.run(2990).texts() == []
    assert script.raised(MAINS) == []
    assert within(script.run(3100).raised(MAINS), 3000, 3030)


def test_a_tripped_outlet_is_raised_as_that_while_the_mains_are_there() -> None:
    """It says nothing of the mains, and asks nobody to reset it unseen."""
    script = run(depot("mains", "outlet", "heat"), "outlet")
    assert within(script.raised(OUTLET, "pump"), 325, 335)
    assert script.raised(MAINS) == []
    text = text_of(script.texts("raised")[0])
    assert "mains lost?" not in text
    assert "Seen dry: all off, reset once" in text


def test_one_outlet_alone_may_be_either_and_says_so() -> None:
    """Nothing else watches the supply."""
    script = run(depot("outlet"), "outlet")
    assert "Tripped, or mains lost?" in text_of(script.texts("raised")[0])


def test_outlets_that_die_together_make_lost_mains_likely() -> None:
    """Within two minutes; the text says likely. One that died long before makes it no outage."""
    its = depot("outlet", "heat")
    script = run(its, "outlet", "heat")
    assert within(script.raised(MAINS), 300, 330)
    assert script.raised(OUTLET) == []
    assert "mains power likely lost" in text_of(script.texts("raised")[0])
    apart = Script(its, world=world()).at(300, lambda w: w.says.update(off("outlet")))
    apart.at(900, lambda w: w.says.update(off("heat"))).run(1500)
    assert apart.raised(MAINS) == []
    assert len(apart.raised(OUTLET, "pump")) == len(apart.raised(OUTLET, "shelter")) == 1


@pytest.mark.parametrize("apart", [1, 90, 150, 299])
def test_outlets_that_are_polled_show_lost_mains_as_well(apart: int) -> None:
    """Every five minutes, so far apart: both die at once, and that is told once, as what it is."""
    its = depot("outlet", "heat")
    slow = {"every_seconds": 300.0, "silent_after_seconds": 1000.0, "on_change": False}
    for name in ("outlet", "heat"):
        its = with_sensor(its, name, **slow)
    script = Script(its, world=world())
    places = {"outlet": 0, "heat": apart}
    script.polled_at(places)
    script.at(1201, lambda w: w.says.update(off("outlet", "heat"))).run(3000)
    assert len(script.raised(MAINS)) == 1
    assert script.raised(OUTLET) == []
    assert len(script.texts("raised", "yard")) == 1


def test_outlets_that_are_polled_and_die_one_after_the_other_are_no_lost_mains() -> None:
    """Ten minutes apart: each is told by itself."""
    its = depot("outlet", "heat")
    for name in ("outlet", "heat"):
        its = with_sensor(
            its, name, every_seconds=300.0, silent_after_seconds=1000.0, on_change=False
        )
    script = Script(its, world=world()).at(1000, lambda w: w.says.update(off("outlet")))
    script.at(1700, lambda w: w.says.update(off("heat"))).run(4000)
    assert script.raised(MAINS) == []
    assert len(script.raised(OUTLET)) == 2


@pytest.mark.parametrize(("outdoors", "freezes"), [(-5.0, True), (2.5, False)])
def test_frost_makes_it_grave(outdoors: float, freezes: bool) -> None:
    """The finding is of high priority where the shelter may freeze, and the text says so."""
    script = run(depot("mains", "outdoors"), "mains", outdoors=outdoors)
    assert ("Shelter may freeze" in text_of(script.texts("raised")[0])) is freezes


@pytest.mark.parametrize("seconds", [5, 14])
def test_a_supply_that_is_back_at_once_raises_nothing(seconds: int) -> None:
    """A breaker that closes again by itself."""
    script = Script(depot("mains", "outlet"), world=world())
    script.at(300, lambda w: w.says.update(off("mains", "outlet")))
    script.at(300 + seconds, lambda w: w.says.update(mains=1.0, outlet=1.0))
    script.run(600)
    assert script.raised(MAINS) == script.raised(OUTLET) == []


def test_a_silent_switch_says_nothing_of_the_mains() -> None:
    """Silence is another alarm's."""
    script = Script(depot("mains"), world=world()).at(300, lambda w: w.silent.add("mains"))
    assert script.run(2000).raised(MAINS) == []


def test_since_when_is_what_others_may_ask() -> None:
    """The first of the outlets that died together, and the supply's own switch before them."""
    trackers = Trackers(depot("outlet", "heat"))
    power = trackers.power
    for name, seconds, value in (("outlet", 0, 1.0), ("outlet", 10, 0.0), ("heat", 40, 0.0)):
        trackers.take(trackers.sensors[name], reading(name, seconds, value))
    assert power.lost_since == START + 10 * SECOND
    assert power.dead_since("shelter") == START + 40 * SECOND
    again = PowerTracker(depot("outlet", "heat"), Trackers(depot("outlet", "heat")).sensors)
    again.restore(power.snapshot())
    assert again.lost_since == power.lost_since
    trackers.take(trackers.sensors["heat"], reading("heat", 60, 1.0))
    assert power.lost_since is None


def test_a_pump_that_is_called_mains_is_an_outlet() -> None:
    """Config files from before the supply could be watched still mean what they meant."""
    its = depot("mains")
    pump = replace(its.pumps["pump"], id="mains")
    power = Trackers(replace(its, pumps={"mains": pump})).power
    assert power.mains is None
    assert set(power.outlets) == {"mains"}


def test_a_power_switch_that_is_implausible_leaves_its_danger_unwatched() -> None:
    """What had power when it was last believed is known no longer, though it has no new value."""
    script = Script(depot("mains", "outlet"), world=world())
    for second in range(300, 400, 10):
        script.at(second, lambda w, at=second: w.says.update(mains=500.0 + at, outlet=500.0 + at))
    script.run(1200)
    assert {"lost mains", "dead outlet"} <= set(dangers(script))
