"""Two pumps on one tank, scripted: one that delivers doesn't hide one that moves nothing."""

from collections.abc import Callable
from dataclasses import replace

import pytest

from brineward.alarms.registry import coverage
from brineward.plant.plan import DepotPlan, Measure, Pump, Valve
from depots import DEPOT, plan, sensor
from engine.scripted import Script, World, text_of, within

ALARM = "closed-valve"
SECOND_FLOW = 3.6e-3
RUNS_TOO = sensor("running-2", Measure.RUNNING, "pump-2")
CLAMP = sensor("current", Measure.CURRENT, "pump-2", standard_uncertainty=0.05)


def depot(*, switch: bool = True, flow: float = SECOND_FLOW, **extra: object) -> DepotPlan:
    """Two pumps that draw from the main tank; the level and the pumps' switches are measured."""
    its = plan()
    sensors = {name: its.sensors[name] for name in ("running", "level")}
    sensors |= {RUNS_TOO.id: RUNS_TOO} if switch else {}
    second = Pump(id="pump-2", draws_from="main", flow_m3_per_s=flow)
    return replace(its, pumps={**its.pumps, "pump-2": second}, sensors=sensors, **extra)


def with_more(its: DepotPlan, *more: object) -> DepotPlan:
    """The same with more sensors."""
    return replace(its, sensors={**its.sensors, **{one.id: one for one in more}})


def second(*, runs: float, delivers: float = 0.0) -> Callable[[World], None]:
    """The second pump runs or stands, and moves so much, m3/s."""

    def change(world: World) -> None:
        world.says["running-2"] = runs
        world.extra = -delivers

    return change


def world(**values: object) -> World:
    """Both stand; the first pump's hose is open."""
    said = {"running-2": 0.0}
    return World(level=2.2, noise={"level": 0.003}, open=1.0, says=said, **values)


def test_a_pump_left_on_is_not_explained_by_another_that_moves_nothing() -> None:
    """The second runs against its shut hose and is told; the first, which its switch shows, is left
    on, and that is told too."""
    its = depot()
    pumps = {"pump": replace(its.pumps["pump"], longest_run_seconds=600.0)}
    pumps["pump-2"] = replace(its.pumps["pump-2"], valves=("hose-2",))
    shut = sensor("valve-2", Measure.OPEN, "hose-2")
    its = with_more(
        replace(its, pumps=pumps, valves={**its.valves, "hose-2": Valve(id="hose-2")}), shut
    )
    both = world()
    both.says["valve-2"] = 0.0
    script = Script(its, world=both).at(100, running=1.0).at(100, second(runs=1.0)).run(900)
    assert script.raised(ALARM, "pump-2")
    assert script.raised("pump-left-running", "pump") == [700]


def test_where_either_may_be_the_one_neither_is_told_to_be_left_on() -> None:
    """Both were asked to be stopped: that one of them runs on is no news."""
    its = depot()
    pumps = {name: replace(one, longest_run_seconds=600.0) for name, one in its.pumps.items()}
    script = Script(replace(its, pumps=pumps), world=world(fill=0.9e-3))
    script.at(300, running=1.0).at(420, second(runs=1.0)).run(950)
    assert script.raised(ALARM, "pump-2")
    assert script.raised("pump-left-running") == []


@pytest.mark.parametrize("fill", [0.0, 0.9e-3])
@pytest.mark.parametrize("after", [20, 120])
@pytest.mark.parametrize("seed", range(5))
def test_one_that_moves_nothing_is_told_though_the_other_loads(
    seed: int, after: int, fill: float
) -> None:
    """Started soon after it or later: told once, within three minutes, with both names."""
    script = Script(depot(), seed=seed, world=world(fill=fill))
    script.at(300, running=1.0).at(300 + after, second(runs=1.0)).run(300 + after + 200)
    assert within(script.raised(ALARM), 300 + after, 300 + after + 190)
    text = text_of(script.texts("raised")[0])
    assert "pump 2" in text
    assert "moves no brine" in text


@pytest.mark.parametrize("fill", [0.0, 0.9e-3])
@pytest.mark.parametrize("worn", [1.0, 0.8])
@pytest.mark.parametrize("seed", range(10))
def test_two_that_deliver_raise_nothing(seed: int, worn: float, fill: float) -> None:
    """New or worn, with the fill or without, through starts and stops in any order."""
    script = Script(depot(), seed=seed, world=world(fill=fill, delivers=worn * 3.6e-3))
    draws = worn * SECOND_FLOW
    script.at(300, running=1.0).at(340, second(runs=1.0, delivers=draws))
    script.at(560, running=0.0).at(600, running=1.0).at(640, second(runs=0.0))
    script.at(700, second(runs=1.0, delivers=draws)).at(730, running=0.0)
    assert script.run(800).raised(ALARM) == []


def test_one_that_moved_nothing_before_the_other_started_stays_told() -> None:
    """The level falls again, by the other's load: that clears nothing."""
    script = Script(depot(), world=world()).at(240, second(runs=1.0)).at(300, running=1.0)
    script.run(600)
    assert within(script.raised(ALARM, "pump-2"), 240, 300)
    assert script.cleared(ALARM) == []


def test_both_against_something_shut_are_told_at_once_of_each() -> None:
    """A level at rest under two running pumps needs no second look."""
    script = Script(depot(), world=world()).at(290, open=0.0).at(300, running=1.0)
    script.at(301, second(runs=1.0)).run(400)
    assert within(script.raised(ALARM, "pump"), 300, 370)
    assert within(script.raised(ALARM, "pump-2"), 300, 370)


def test_a_pump_whose_running_nobody_knows_leaves_it_untold_not_clear() -> None:
    """Its switch fell silent while it ran: whose fall it is can't be said, and that is said."""
    script = Script(depot(), world=world()).at(100, second(runs=1.0, delivers=SECOND_FLOW))
    script.at(300, running=1.0).at(320, lambda w: w.silent.add("running-2")).run(500)
    blind = script.engine._depots[DEPOT]._watch.unwatched.blind
    assert f"{ALARM}/pump" in blind
    assert blind[f"{ALARM}/pump"].sensors == ("running-2",)
    assert script.raised(ALARM, "pump") == []


def test_beside_a_large_pump_a_small_ones_share_cannot_be_told() -> None:
    """Nobody is accused by a fall that is within the large one's own doubt."""
    script = Script(depot(flow=15e-3), world=world())
    script.at(300, second(runs=1.0, delivers=12e-3)).at(320, running=1.0).run(500)
    assert script.raised(ALARM) == []


@pytest.mark.parametrize(
    ("its", "at", "delivers"), [(depot(), "pump-2", 0.0), (depot(flow=15e-3), "pump", 0.012)]
)
def test_what_cannot_be_told_teaches_no_usual_current(
    its: DepotPlan, at: str, delivers: float
) -> None:
    """The other's load is not taken for its own: a deadheaded pump's current is not its usual."""
    script = Script(with_more(its, replace(CLAMP, at=at)), world=world())
    script.world.says["current"] = 0.0
    # Both together: neither has ever been seen to load by itself.
    script.at(320, running=1.0).at(321, second(runs=1.0, delivers=delivers))
    script.at(320, lambda w: w.every_second.append(_wobbles)).run(560)
    assert script.engine.plant(DEPOT).signs[at].usual_current.value is None


def _wobbles(shown: World) -> None:
    shown.says["current"] = 9.2 + 1e-3 * (shown.seconds * 7919 % 13)


def test_a_load_beside_another_teaches_it_where_both_surely_deliver() -> None:
    """Two healthy pumps: the fall of both is seen, and so is what is usual."""
    script = Script(with_more(depot(), CLAMP), world=world())
    script.world.says["current"] = 0.0
    script.at(300, running=1.0).at(320, second(runs=1.0, delivers=SECOND_FLOW))
    script.at(320, lambda w: w.every_second.append(_wobbles)).run(600)
    assert script.engine.plant(DEPOT).signs["pump-2"].usual_current.value is not None


def test_a_pump_without_a_switch_on_the_same_tank_teaches_nothing_either() -> None:
    """It may draw at any time, and nobody would know."""
    clamp = replace(CLAMP, at="pump")
    script = Script(with_more(depot(switch=False), clamp), world=world())
    script.world.every_second.append(_wobbles)
    script.at(300, running=1.0).run(560)
    assert script.engine.plant(DEPOT).signs["pump"].usual_current.value is None
    assert script.raised(ALARM) == []


def test_a_restart_while_both_run_changes_nothing() -> None:
    """Each second of the first two minutes: the same outputs, the same state."""

    def played(*, restarts: bool) -> Script:
        script = Script(depot(), world=world())
        script.at(300, running=1.0).at(320, second(runs=1.0)).run(310)
        while script.now < 470:
            script.run(script.now + 7)
            if restarts:
                script.restart()
        return script

    straight, often = played(restarts=False), played(restarts=True)
    assert repr(often.outputs) == repr(straight.outputs)
    assert often.engine.snapshots() == straight.engine.snapshots()
    assert straight.raised(ALARM, "pump-2")


LINE = "line-leak"
METER = sensor("flow", Measure.FLOW, "pump", low=-0.01, high=0.02, standard_uncertainty=3e-5)
LOAD = 300


def hoses(its: DepotPlan, *, first: tuple[int, int], other: tuple[int, int]) -> Script:
    """Three loads an hour apart, of both pumps or of the first alone; seconds from the hour."""
    script = Script(its, world=world())

    def meter(shown: World) -> None:
        shown.says["flow"] = shown.delivers if shown.running else 0.0

    script.world.every_second.append(meter)
    for number in range(3):
        hour = 600 + 3600 * number
        script.at(hour + first[0], running=1.0).at(hour + first[1], running=0.0)
        script.at(hour + other[0], second(runs=1.0, delivers=SECOND_FLOW))
        script.at(hour + other[1], second(runs=0.0))
        script.at(hour + 2400, level=2.2)
    return script.run(3600 * 3 + 600)


@pytest.mark.parametrize(
    "other",
    [(60, LOAD), (-60, 200), (-60, LOAD + 60), (200, LOAD + 120), (LOAD + 30, LOAD + 150)],
    ids=["started later", "stopped sooner", "around it", "stopped later", "after it"],
)
def test_a_load_beside_another_is_no_line_leak(other: tuple[int, int]) -> None:
    """What the other hose took isn't missing from this one's meter, whichever began or ended
    first, up to the level that the load is judged by."""
    script = hoses(with_more(depot(), METER), first=(0, LOAD), other=other)
    assert script.raised(LINE) == []


def test_a_line_that_loses_is_still_told_by_the_loads_alone() -> None:
    """The second pump stands within a load, and runs half an hour after it."""
    its = with_more(depot(), METER)
    script = Script(its, world=world())

    def meter(shown: World) -> None:
        shown.says["flow"] = 0.7 * shown.delivers if shown.running else 0.0

    script.world.every_second.append(meter)
    for number in range(3):
        hour = 600 + 3600 * number
        script.at(hour, running=1.0).at(hour + LOAD, running=0.0)
        script.at(hour + 1800, second(runs=1.0, delivers=SECOND_FLOW))
        script.at(hour + 1900, second(runs=0.0)).at(hour + 2400, level=2.2)
    assert len(script.run(3600 * 3).raised(LINE)) == 1


def test_a_second_pump_without_a_switch_leaves_the_line_unwatched() -> None:
    """`check` says so, and what would help."""
    [found] = [
        one
        for one in coverage(with_more(depot(switch=False), METER))
        if one.alarm == LINE and one.source == "pump"
    ]
    assert found.how == "blind"
    assert "a running switch on pump-2" in found.would_help
    script = hoses(with_more(depot(switch=False), METER), first=(0, LOAD), other=(60, LOAD))
    assert script.raised(LINE) == []
