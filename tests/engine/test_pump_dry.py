"""Pump running dry or air-locked, scripted: by all that shows it, and no closed valve besides."""

from dataclasses import replace

import pytest

from brineward.alarms.pump_dry import RunningDry
from brineward.alarms.registry import alarms_at, site_of
from brineward.plant.plan import DepotPlan
from engine.pump_world import PumpWorld, depot, loaded
from engine.scripted import Script, text_of, within

ALARM, CLOSED = "pump-dry", "closed-valve"
BASE = ("running", "valve", "level")
START = 1000


def air_lock(its: DepotPlan, *, stuck: tuple[str, ...] = (), opened: float = 1.0) -> Script:
    """A healthy load, then a pump that starts full of air and is stopped ten minutes later."""
    script = loaded(its, PumpWorld(stuck=stuck)).at(START - 10, air=True, open=opened)
    return script.at(START, running=1.0).at(START + 600, running=0.0, air=False).run(START + 900)


@pytest.mark.parametrize(
    "by", [("current", "flow"), ("current",), ("pressure",), ("current", "pressure", "flow")]
)
def test_an_air_lock_is_raised_within_a_minute_and_as_nothing_else(by: tuple[str, ...]) -> None:
    """By current or pressure, and not as a closed valve besides: one cause, one text."""
    script = air_lock(depot(*BASE, *by))
    assert within(script.raised(ALARM), START, START + 60)
    assert script.raised(CLOSED) == []
    assert within(script.cleared(ALARM), START + 600, START + 640)
    assert "dry or air-locked" in text_of(script.texts("raised")[0])


@pytest.mark.parametrize("by", [("current", "flow"), ("pressure",), ("current", "pressure")])
def test_a_closed_hose_end_is_not_taken_for_a_dry_pump(by: tuple[str, ...]) -> None:
    """Nothing flows with the valve's switch open, but current and pressure show liquid."""
    script = loaded(depot(*BASE, *by), PumpWorld()).at(START - 10, open=1.0, delivers=0.0)
    script.at(START, running=1.0).run(START + 300)
    assert within(script.raised(CLOSED), START, START + 60)
    assert script.raised(ALARM) == []


def test_a_valve_that_its_switch_shows_shut_stays_a_closed_valve() -> None:
    """Within five seconds, whatever the pump draws."""
    script = air_lock(depot(*BASE, "current", "pressure", "flow"), opened=0.0)
    assert within(script.raised(CLOSED), START, START + 5)
    assert script.raised(ALARM) == []


@pytest.mark.parametrize(("stuck", "said"), [("current", 12.9), ("pressure", 200e3)])
def test_where_both_are_known_both_have_to_show_it(stuck: str, said: float) -> None:
    """A gauge or a clamp that is right contradicts the other: then the level decides."""
    world = PumpWorld(stuck=(stuck,))
    world.says[stuck] = said
    script = loaded(depot(*BASE, "current", "pressure"), world).at(START - 10, air=True, open=1.0)
    script.at(START, running=1.0).run(START + 300)
    assert script.raised(ALARM) == []
    assert within(script.raised(CLOSED), START, START + 60)


def test_a_rated_current_needs_no_load_to_be_learned_from() -> None:
    """The very first start is judged by the config's `running_current`."""
    its = depot("running", "current")
    rated = replace(its.pumps["pump"], running_current_a=12.9)
    world = PumpWorld()
    world.air = True
    for one, raised in ((its, 0), (replace(its, pumps={"pump": rated}), 1)):
        script = Script(one, world=PumpWorld()).at(99, air=True, open=1.0).at(100, running=1.0)
        assert len(script.run(400).raised(ALARM)) == raised


def test_a_tank_that_is_emptied_is_raised_at_the_suction_by_level_alone() -> None:
    """With the suction's height from the config; not while the level still falls."""
    its = depot("running", "level")
    pump = replace(its.pumps["pump"], suction_m=0.08)
    script = Script(replace(its, pumps={"pump": pump}), world=PumpWorld())
    script.at(10, level=0.30, open=1.0).at(300, running=1.0)
    emptied = 300 + (0.30 - 0.08) * 4.524 / 3.6e-3
    script.run(emptied + 400)
    assert within(script.raised(ALARM), emptied, emptied + 300)
    assert script.raised(CLOSED) == []
    assert "down to the suction" in text_of(script.texts("raised")[0])


def test_no_flow_with_every_valve_open_is_it_where_no_level_is_measured() -> None:
    """And the text says that it may be ice too; with a valve's switch unknown nothing is said."""
    script = loaded(depot("running", "valve", "flow"), PumpWorld()).at(
        START - 10, air=True, open=1.0
    )
    script.at(START, running=1.0).run(START + 300)
    assert within(script.raised(ALARM), START, START + 60)
    assert "dry, air or ice?" in text_of(script.texts("raised")[0])
    mute = loaded(depot("running", "valve", "flow"), PumpWorld()).at(START - 10, air=True, open=1.0)
    mute.at(START - 200, lambda w: w.silent.add("valve")).at(START, running=1.0).run(START + 300)
    assert mute.raised(ALARM) == []


def test_a_meter_that_flows_outvotes_a_clamp_that_slips() -> None:
    """Half the current with brine flowing is a clamp's fault, not a dry pump."""
    world = PumpWorld(stuck=("current",))
    world.says["current"] = 12.9
    script = loaded(depot(*BASE, "current", "flow"), world)
    script.at(START - 10, lambda w: w.says.update(current=5.0), open=1.0).at(START, running=1.0)
    assert script.run(START + 300).raised(ALARM) == []


@pytest.mark.parametrize("air_until", [None, START + 700])
def test_a_pump_left_on_is_told_of_a_dry_one_only_once_it_is_dry_no_more(
    air_until: int | None,
) -> None:
    """Its longest run is over while it is known to run dry: that was told, and asked for the same.
    Where it draws brine again and still runs, it is told then."""
    its = depot(*BASE, "current", "flow")
    pump = replace(its.pumps["pump"], longest_run_seconds=400.0)
    script = loaded(replace(its, pumps={"pump": pump}), PumpWorld())
    script.at(START - 10, air=True, open=1.0, delivers=1e-3).at(START, running=1.0)
    if air_until is not None:
        script.at(air_until, air=False)
    script.at(START + 1000, running=0.0).run(START + 1100)
    assert within(script.raised(ALARM), START, START + 60)
    left_on = script.raised("pump-left-running")
    if air_until is None:
        assert left_on == []
    else:
        assert within(left_on, air_until + 30, air_until + 60)


def test_a_dry_pump_explains_nothing_of_another() -> None:
    """Each pump's condition answers for its own."""
    its = depot(*BASE, "current")
    (dry,) = [one.condition for one in alarms_at(site_of(its)) if one.record.id == ALARM]
    found = RunningDry(value=4.7, limit=12.9, unit="A", by="current")
    assert dry.explains(found, "pump")
    assert not dry.explains(found, "pump-2")


def test_healthy_loads_and_a_restart_in_an_air_lock() -> None:
    """What was learned and the alarm live through a restart; six loads raise nothing."""
    names = (*BASE, "current", "pressure", "flow")
    assert loaded(depot(*names), PumpWorld(), loads=6).run(4000).raised(ALARM) == []
    script = loaded(depot(*names), PumpWorld()).at(START - 10, air=True, open=1.0)
    script.at(START - 20, lambda _: script.restart()).at(START + 12, lambda _: script.restart())
    script.at(START, running=1.0).run(START + 300)
    assert within(script.raised(ALARM), START, START + 60)
