"""Pump left running, scripted: raised at its very second, with no reading needed."""

from dataclasses import replace

import pytest

from brineward.alarms.pump_left_running import longest_run_seconds
from brineward.alarms.registry import coverage
from brineward.plant.idle_hours import IdleHours
from brineward.plant.plan import DepotPlan
from brineward.readings.outputs import AlarmState
from depots import plan
from engine.scripted import Script, World, text_of, with_sensors

ALARM = "pump-left-running"


def hose_in_tank() -> World:
    """The hose hangs back in the tank: what the pump takes comes back."""
    return World(open=1.0, delivers=0.0)


def depot(longest: float | None = 600.0, **changes: object) -> DepotPlan:
    """Tern Hollow with only the pump's switch, and a longest run of ten minutes."""
    its = with_sensors("running", **changes)
    pump = replace(its.pumps["pump"], longest_run_seconds=longest)
    return replace(its, pumps={"pump": pump})


def run(its: DepotPlan, *, start: int = 100, stop: int = 3000, until: int = 4000) -> Script:
    """A pump that runs from `start` to `stop`, seconds after noon."""
    return Script(its, world=hose_in_tank()).at(start, running=1.0).at(stop, running=0.0).run(until)


def test_it_is_raised_the_second_its_longest_run_is_over() -> None:
    """Ten minutes after its start, and cleared as soon as it stops."""
    script = run(depot())
    assert script.raised(ALARM) == [700]
    assert script.cleared(ALARM) == [3000]


def test_no_reading_is_needed() -> None:
    """Between two reports of its switch, which are a minute apart here, it is raised in time."""
    its = depot()
    slow = replace(its.sensors["running"], every_seconds=60.0, silent_after_seconds=210.0)
    script = run(replace(its, sensors={"running": slow}), start=123)
    assert script.raised(ALARM) == [723]
    assert not [e for e in script.entries if getattr(e, "sensor", "") and _at(script, e, 723)]


def _at(script: Script, entry: object, second: int) -> bool:
    return getattr(entry, "received", None) == script.entries[0].time + second * 1000


@pytest.mark.parametrize("stop", [160, 500, 699])
def test_a_shorter_run_is_none(stop: int) -> None:
    """And the next run is counted from its own start."""
    script = run(depot(), stop=stop, until=stop + 100).at(stop + 200, running=1.0)
    assert script.run(stop + 200 + 599).raised(ALARM) == []
    assert script.run(stop + 200 + 601).raised(ALARM) == [stop + 800]


def test_without_a_set_time_it_may_run_until_its_tank_would_be_empty() -> None:
    """10.86 m3 up to the brim, at 3.6 L/s less the 0.9 L/s of the fill: 67 minutes."""
    its = plan()
    assert longest_run_seconds(its, its.pumps["pump"]) == pytest.approx(10.857e3 / 2.7, rel=1e-3)
    endless = replace(its.pumps["pump"], flow_m3_per_s=0.9e-3)
    assert longest_run_seconds(its, endless) is None
    assert longest_run_seconds(its, replace(endless, longest_run_seconds=60.0)) == 60.0


def test_at_an_hour_when_nobody_loads_it_is_raised_at_once() -> None:
    """The depot's own clock shows 18:00 at the start; its idle hours begin at 18:10."""
    hours = IdleHours(begin=18 * 60 + 10, end=19 * 60)
    script = run(depot(longest=7200.0, idle_hours=hours))
    assert script.raised(ALARM) == [600]
    assert "running off-hours" in text_of(script.texts("raised")[0])
    assert run(depot(longest=7200.0, idle_hours=hours), start=700).raised(ALARM) == [700]
    assert run(depot(longest=7200.0)).raised(ALARM) == []


def test_a_switch_that_has_fallen_silent_raises_nothing() -> None:
    """Whether the pump still runs nobody knows then: the silence is announced instead."""
    script = Script(depot(), world=hose_in_tank()).at(100, running=1.0)
    script.at(300, lambda world: world.silent.add("running")).run(2000)
    assert script.raised(ALARM) == []
    assert script.raised("depot-silent")


def test_a_restart_in_the_run_changes_nothing() -> None:
    """Its deadline is in what is remembered."""
    script = Script(depot(), world=hose_in_tank()).at(100, running=1.0)
    script.at(400, lambda _: script.restart()).run(1000)
    assert script.raised(ALARM) == [700]


def test_it_can_be_taken_and_stays_taken_while_it_runs() -> None:
    """Who stands by it takes it, and is left in peace."""
    script = Script(depot(), world=hose_in_tank()).at(100, running=1.0).take_at(800)
    script.at(3000, running=0.0).run(2900)
    assert script.state(ALARM) is AlarmState.ACKNOWLEDGED
    assert script.run(3100).state(ALARM) is AlarmState.NORMAL
    assert [text.person for text in script.texts("raised")] == ["yard"]


def test_where_it_is_covered() -> None:
    """By the pump's running switch; without one it is blind, and that helps."""
    (known,) = [one for one in coverage(plan()) if one.alarm == ALARM]
    assert (known.how, known.by) == ("covered", ("running",))
    (blind,) = [one for one in coverage(with_sensors("level")) if one.alarm == ALARM]
    assert (blind.how, blind.would_help) == ("blind", "a running switch on the pump")


def beside(*shut: tuple[int, float], until: int = 2400) -> Script:
    """A pump that runs from 100 s to 2300 s beside a valve whose switch says so at these times."""
    its = depot()
    its = replace(its, sensors={**its.sensors, "valve": plan().sensors["valve"]})
    script = Script(its, world=hose_in_tank()).at(100, running=1.0).at(2300, running=0.0)
    for when, says in shut:
        script.at(when, open=says)
    return script.run(until)


def test_a_pump_that_is_known_to_run_against_a_closed_valve_is_not_told_besides() -> None:
    """One cause, one text: whoever is called stops it at the panel for either."""
    script = beside((90, 0.0))
    assert script.raised("closed-valve")
    assert script.state(ALARM) is AlarmState.NORMAL
    assert [text for text in script.texts() if "left running" in text_of(text)] == []
    held = [one for one in script.changes(ALARM) if one.state is AlarmState.SUPPRESSED]
    assert len(held) == 1


def test_it_is_told_once_the_closed_valve_no_longer_explains_it() -> None:
    """Somebody opens the valve and goes: half a minute later it is told, for it still runs."""
    script = beside((90, 0.0), (1500, 1.0))
    (raised,) = script.raised(ALARM)
    assert 1500 + 30 <= raised <= 1500 + 40
    assert script.cleared(ALARM) == [2300]
