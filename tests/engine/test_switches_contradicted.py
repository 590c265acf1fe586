"""Switches that other sensors show to be wrong, scripted; and what convicts none."""

from dataclasses import replace

import pytest

from brineward.plant.plan import DepotPlan
from brineward.readings.entries import ModeSet
from brineward.readings.modes import Mode
from depots import DEPOT
from engine.pump_world import PumpWorld, depot, loaded
from engine.scripted import Script, World, text_of, within

ALARM, CLOSED, IMPLAUSIBLE = "switch-contradicted", "closed-valve", "sensor-implausible"
ALL = ("running", "valve", "level", "current", "pressure", "flow", "power")
AT = 1000


def stuck_valve(*names: str) -> Script:
    """A load with a valve's switch that says shut from before it, and a second one later."""
    script = loaded(depot(*names), PumpWorld())
    script.at(AT - 100, lambda w: w.says.update(valve=0.0))
    script.at(AT - 10, open=1.0).at(AT, running=1.0).at(AT + 240, running=0.0, open=0.0)
    return script.at(AT + 1000, running=1.0, open=1.0).at(AT + 1240, running=0.0, open=0.0)


def test_a_valve_said_to_be_shut_while_brine_flows_is_convicted_once() -> None:
    """Its closed-valve alarm clears at once and doesn't come with the next load; one text."""
    script = stuck_valve(*ALL).run(AT + 1500)
    assert within(script.raised(ALARM, "valve"), AT + 30, AT + 75)
    assert len(script.raised(CLOSED)) == 1
    assert within(script.cleared(CLOSED), AT + 40, AT + 110)
    assert script.raised(IMPLAUSIBLE) == []
    texts = [text_of(text) for text in script.texts("raised")]
    assert any("hose valve: its switch says shut, yet brine flows" in text for text in texts)


def test_it_is_believed_again_once_it_changes() -> None:
    """Somebody has mended it: a closed valve is raised at once again."""
    script = stuck_valve(*ALL).at(AT + 500, lambda w: w.says.pop("valve")).at(AT + 510, open=1.0)
    script.at(AT + 520, open=0.0).at(AT + 2000, running=1.0).run(AT + 2100)
    assert within([t for t in script.raised(CLOSED) if t > AT + 1500], AT + 2000, AT + 2005)
    assert script.cleared(ALARM, "valve")


def test_a_pump_that_was_left_on_is_believed_again_when_its_power_returns() -> None:
    """Its switch never changed; somebody has shut the valve meanwhile, and it starts against it."""
    world = PumpWorld()
    script = loaded(depot(*ALL), world).at(AT - 10, open=1.0).at(AT, running=1.0)
    script.at(AT + 60, lambda _: (setattr(world, "turns", 0.0), setattr(world, "mains", 0.0)))
    script.at(AT + 600, open=0.0)
    script.at(AT + 900, lambda _: (setattr(world, "turns", None), setattr(world, "mains", 1.0)))
    script.run(AT + 1000)
    assert within(script.raised(ALARM, "running"), AT + 240, AT + 290)
    assert within(script.raised(CLOSED), AT + 900, AT + 915)
    assert script.cleared(ALARM, "running")


def test_a_meters_ghost_while_the_pump_stands_convicts_no_valve() -> None:
    """The next start against that valve is raised at once, by its switch."""
    world = PumpWorld(stuck=["flow"])
    script = loaded(depot(*ALL), world).at(AT, lambda w: w.says.update(flow=1.2e-3))
    script.at(AT + 60, lambda w: (w.says.pop("flow"), world.stuck.clear()))
    script.at(AT + 600, running=1.0).run(AT + 700)
    assert script.raised(ALARM) == []
    assert within(script.raised(CLOSED), AT + 600, AT + 605)


def test_a_valve_that_was_convicted_is_believed_again_where_nothing_flows() -> None:
    """A stuck switch was repaired while the valve was shut, so that what it says never changed."""
    script = stuck_valve(*ALL).at(AT + 1400, lambda w: w.says.pop("valve"))
    script.at(AT + 2000, running=1.0).run(AT + 2100)
    assert within([t for t in script.raised(CLOSED) if t > AT + 1500], AT + 2030, AT + 2050)
    assert script.cleared(ALARM, "valve")


def test_without_a_meter_no_valve_is_convicted() -> None:
    """A level that falls may be a leak: its switch is still believed."""
    script = stuck_valve("running", "valve", "level").run(AT + 1500)
    assert script.raised(ALARM) == []
    assert len(script.raised(CLOSED)) == 2


def test_a_valve_shown_open_while_nothing_flows_convicts_none() -> None:
    """That is ice, or a hose end: a closed valve by the level."""
    script = loaded(depot(*ALL), PumpWorld()).at(AT - 10, open=1.0, delivers=0.0)
    script.at(AT, running=1.0).run(AT + 600)
    assert script.raised(ALARM) == []
    assert within(script.raised(CLOSED), AT, AT + 60)


def test_a_pump_said_to_run_that_draws_nothing_is_convicted_and_accused_of_nothing() -> None:
    """After three minutes; no dry pump, and no closed valve though its valve is shut."""
    script = loaded(depot(*ALL), PumpWorld()).at(AT, running=1.0, turns=0.0, open=1.0)
    script.at(AT + 30, open=0.0).run(AT + 900)
    assert within(script.raised(ALARM, "running"), AT + 180, AT + 220)
    assert script.raised(CLOSED) == []
    assert script.raised("pump-dry") == []
    assert script.raised(IMPLAUSIBLE) == []


def test_a_clamp_that_came_off_hides_no_closed_valve() -> None:
    """No current and no flow are what a dead clamp and a closed valve show; pressure decides."""
    world = PumpWorld()
    script = loaded(depot(*ALL), world).at(AT - 20, lambda _: world.stuck.add("current"))
    script.at(AT, running=1.0).run(AT + 500)
    assert within(script.raised(CLOSED), AT, AT + 5)
    assert script.cleared(CLOSED) == []
    assert script.raised(ALARM) == []


@pytest.mark.parametrize("by", ["current", "flow"])
def test_a_pump_said_to_be_stopped_that_runs_is_convicted(by: str) -> None:
    """By the current that it usually draws, or by a flow that only a pump makes."""
    names = ("running", "valve", "level", "flow", *(("current",) if by == "current" else ()))
    script = loaded(depot(*names), PumpWorld())
    script.at(AT, turns=1.0, open=1.0 if by == "flow" else 0.0).run(AT + 300)
    assert within(script.raised(ALARM, "running"), AT + 60, AT + 110)


def test_brine_that_runs_out_by_its_own_height_convicts_no_switch() -> None:
    """A third of the pump's flow, for an hour, and the level falls with it."""
    world = PumpWorld(stuck=("flow",))
    world.says["flow"] = 0.0
    script = Script(depot(*ALL), world=world).at(100, open=1.0, extra=-1.2e-3)
    script.at(110, lambda w: w.says.update(flow=1.2e-3))
    assert script.run(3700).raised(ALARM) == []


def test_a_valve_left_open_for_a_day_is_no_fault() -> None:
    """Nobody loads, and nothing is said."""
    script = Script(depot(*ALL), world=PumpWorld()).at(100, open=1.0).run(86_400)
    assert script.raised(ALARM) == []


HOURS = 3600
LOAD = 60


def loads_and_then_open(*names: str, shut_after: int = 5, its: DepotPlan | None = None) -> Script:
    """Loads an hour apart, the valve shut after the first few; it is open from `STAYS_FROM` on."""
    script = Script(its or depot(*names), world=PumpWorld())
    for number in range(6):
        begins = AT + number * HOURS
        script.at(begins - 10, open=1.0).at(begins, running=1.0).at(begins + LOAD, running=0.0)
        if number < shut_after:
            script.at(begins + LOAD + 20, open=0.0)
    return script


STAYS_FROM = AT + 5 * HOURS + LOAD


def test_a_switch_stuck_at_open_shows_by_its_habit() -> None:
    """Shut after five loads, said to be open for six hours after the sixth, at 05:17 by the depot's
    clock; one text says so at 07:00, and wakes nobody before.
    """
    script = loads_and_then_open(*ALL).run(STAYS_FROM + 7 * HOURS)
    due = STAYS_FROM + 6 * HOURS
    assert within(script.raised(ALARM, "valve"), due, due + 60)
    assert script.texts("raised") == []
    script.run(STAYS_FROM + 8 * HOURS)
    text, *_ = (text_of(text) for text in script.texts("raised"))
    assert "hose valve: its switch says open, 6 h after loading" in text
    assert "Pump off (PANEL), THEN shut valve." in text


def test_a_crew_that_comes_back_for_the_next_truck_is_not_asked() -> None:
    """Loads two and four hours apart through a valve that is left open: six hours after the last
    of them it is asked about.
    """
    script = loads_and_then_open(*ALL)
    for begins in (STAYS_FROM + 4 * HOURS, STAYS_FROM + 6 * HOURS):
        script.at(begins, running=1.0).at(begins + LOAD, running=0.0)
    script.run(STAYS_FROM + 13 * HOURS)
    due = STAYS_FROM + 12 * HOURS + LOAD
    assert within(script.raised(ALARM, "valve"), due, due + 60)


def test_it_ends_when_the_valve_is_shut() -> None:
    """And the next five loads teach the habit anew: no second alarm the night after."""
    script = loads_and_then_open(*ALL).at(STAYS_FROM + 8 * HOURS, open=0.0)
    again = STAYS_FROM + 9 * HOURS
    script.at(again - 10, open=1.0).at(again, running=1.0).at(again + LOAD, running=0.0)
    script.run(again + 8 * HOURS)
    assert within(script.cleared(ALARM, "valve"), again - HOURS, again - HOURS + 60)
    assert len(script.raised(ALARM)) == 1


def test_a_crew_without_the_habit_is_not_asked() -> None:
    """It was shut after four loads; the fifth time is none, no pump ran before it."""
    script = loads_and_then_open(*ALL, shut_after=3).at(STAYS_FROM - 2000, open=0.0)
    script.at(STAYS_FROM - 1900, open=1.0).at(STAYS_FROM - 1800, open=0.0)
    script.at(STAYS_FROM - 1700, open=1.0).run(STAYS_FROM + 8 * HOURS)
    assert script.raised(ALARM) == []


@pytest.mark.parametrize("mode", [Mode.STANDING_BY, Mode.DRAINING, Mode.LAID_UP])
def test_where_nobody_loads_a_valve_may_stay_open(mode: Mode) -> None:
    """Lines that are drained are left open."""
    script = loads_and_then_open("running", "valve", "level")

    def settle(_: World) -> None:
        script.step(ModeSet(depot=DEPOT, time=script.time, received=script.time, by="x", mode=mode))

    script.at(STAYS_FROM + 60, settle).run(STAYS_FROM + 8 * HOURS)
    assert script.raised(ALARM) == []


def test_what_nobody_saw_is_no_standing() -> None:
    """The depot was silent for seven hours: who knows whether the pump ran. The valve's switch may
    be silent for a day, and the pump's reports first.
    """
    its = depot(*ALL)
    valve = replace(its.sensors["valve"], silent_after_seconds=86_400.0)
    script = loads_and_then_open(its=replace(its, sensors={**its.sensors, "valve": valve}))
    script.at(STAYS_FROM + 60, lambda w: w.silent.update(ALL))
    script.at(STAYS_FROM + 7 * HOURS, lambda w: w.silent.clear())
    assert script.run(STAYS_FROM + 8 * HOURS).raised(ALARM) == []


def test_the_habit_lives_through_a_restart() -> None:
    """It is learned over days, and a service may start anew any time."""
    script = loads_and_then_open(*ALL)
    for at in (STAYS_FROM - HOURS, STAYS_FROM + 3 * HOURS):
        script.at(at, lambda _: script.restart())
    script.run(STAYS_FROM + 8 * HOURS)
    due = STAYS_FROM + 6 * HOURS
    assert within(script.raised(ALARM, "valve"), due, due + 60)


def test_a_conviction_lives_through_a_restart() -> None:
    """It is remembered with the switch, and what it lasted so far with what convicts it."""
    script = loaded(depot(*ALL), PumpWorld()).at(AT, running=1.0, turns=0.0, open=1.0)
    script.at(AT + 100, lambda _: script.restart()).at(AT + 300, lambda _: script.restart())
    script.run(AT + 900)
    assert within(script.raised(ALARM, "running"), AT + 180, AT + 220)
    assert script.cleared(ALARM) == []
