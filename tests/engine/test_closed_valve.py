"""Pump against a closed valve, scripted: by its switches, and by the level alone."""

import statistics
from dataclasses import replace

import pytest

from brineward.plant.plan import DepotPlan, Measure, SensorPlan
from brineward.readings.instants import SECOND
from brineward.readings.outputs import AlarmState
from depots import START, plan, reading
from engine.scripted import Script, World, text_of, with_sensor, with_sensors, within

ALARM = "closed-valve"
SEEDS = 200
BEFORE = 200
"""Seconds of standing before the pump starts, so that its level is known."""

SWITCHES = ("running", "valve")
LEVEL = ("running", "level")


def load(
    sensors: DepotPlan,
    seed: int,
    *,
    minutes: float = 4.0,
    noise: float = 0.003,
    fill: bool = False,
    opened: float = 1.0,
    shut_after: float | None = None,
    delivers: float = 3.6e-3,
) -> tuple[float, Script]:
    """A load from a tank whose level is read with noise; when the pump started, and the run."""
    start = BEFORE + seed % 10
    world = World(noise={"level": noise}, delivers=delivers, fill=0.9e-3 if fill else 0.0)
    script = Script(sensors, seed=seed, world=world)
    script.at(start - 20, open=opened).at(start, running=1.0)
    if shut_after is not None:
        script.at(start + shut_after, open=0.0)
    script.at(start + minutes * 60, running=0.0)
    return start, script.run(start + minutes * 60 + 40)


@pytest.mark.parametrize("phase", range(10))
def test_shut_by_its_switch_is_raised_within_five_seconds(phase: int) -> None:
    """A valve that is shut when the pump starts is announced before the pump is warm."""
    script = Script().at(100 + phase, running=1.0).run(200)
    assert within(script.raised(ALARM), 100 + phase, 105 + phase)
    assert script.state(ALARM) is AlarmState.UNACKNOWLEDGED
    first = script.texts("raised")[0]
    assert first.person == "yard"
    assert "closed hose valve" in text_of(first)


@pytest.mark.parametrize("phase", range(10))
def test_shut_while_pumping_is_raised_within_five_seconds(phase: int) -> None:
    """Closing the valve before stopping the pump is announced as soon."""
    script = Script().at(90, open=1.0).at(100, running=1.0)
    script.at(200 + phase, open=0.0).run(300)
    assert within(script.raised(ALARM), 200 + phase, 205 + phase)


def test_stopping_the_pump_is_what_ends_it() -> None:
    """It clears when the pump stops; opening the valve on a hot pump is not what is asked for."""
    script = Script().at(100, running=1.0).at(300, running=0.0).run(400)
    assert within(script.cleared(ALARM), 330, 332)
    cleared = script.texts("cleared")
    assert cleared
    assert all("open NO valve" in text_of(text) for text in cleared)


@pytest.mark.parametrize("first", ["running", "valve"])
def test_two_switches_that_change_together_may_report_in_either_order(first: str) -> None:
    """A valve opened and a pump started in the same moment raise nothing, whoever speaks first."""
    script = Script(with_sensors(*SWITCHES)).run(60)
    second = "valve" if first == "running" else "running"
    script.step(reading(first, 60.0, 1.0))
    script.step(reading(second, 62.0, 1.0))
    script.at(61, running=1.0, open=1.0).run(300)
    assert script.raised(ALARM) == []


@pytest.mark.parametrize("phase", range(0, 10, 3))
def test_polled_switches_that_lag_raise_nothing_and_miss_nothing(phase: int) -> None:
    """A valve's switch that speaks only every 10 s is waited for, and believed after that."""
    polled = with_sensor(with_sensors(*SWITCHES), "valve", on_change=False)
    well = Script(polled).at(100 + phase, open=1.0, running=1.0).run(300)
    assert well.raised(ALARM) == []
    wrong = Script(polled).at(100 + phase, running=1.0).run(300)
    assert within(wrong.raised(ALARM), 100 + phase, 112 + phase)


def test_a_valve_switch_that_was_never_heard_is_no_verdict() -> None:
    """Without a word of the valve, and without a level, nothing is raised and nothing is well."""
    script = Script(with_sensors(*SWITCHES), world=World(silent={"valve"}, running=1.0)).run(600)
    assert script.raised(ALARM) == []
    assert script.raised("sensor-silent", "valve")


def test_a_silent_valve_switch_leaves_it_to_the_level() -> None:
    """A switch that said shut and then fell silent accuses nobody where the level falls."""
    three = with_sensors("running", "valve", "level")
    healthy = Script(three).at(100, lambda w: w.silent.add("valve")).at(300, open=1.0)
    healthy.at(310, running=1.0).at(700, running=0.0).run(800)
    assert healthy.raised(ALARM) == []
    shut = Script(three).at(100, lambda w: w.silent.add("valve")).at(310, running=1.0).run(500)
    assert within(shut.raised(ALARM), 310, 370)


def test_a_silent_open_switch_does_not_hide_a_level_that_stands() -> None:
    """All switches open and a level that does not fall: a hose end is shut."""
    world = World(says={"valve": 1.0})
    script = Script(with_sensors("running", "valve", "level"), world=world)
    script.at(410, running=1.0).run(520)
    assert within(script.raised(ALARM), 410, 470)
    assert "moves no brine" in text_of(script.texts("raised")[0])


def test_a_valve_switch_that_talks_nonsense_is_not_believed() -> None:
    """A switch outside 0 and 1 is reported as a sensor's fault, not as a closed valve."""
    sensors = with_sensor(with_sensors(*SWITCHES, "level"), "valve", low=0.0, high=1.0)
    script = Script(sensors).at(200, lambda w: w.says.update(valve=7.0))
    script.at(400, open=1.0).at(410, running=1.0).at(700, running=0.0).run(800)
    assert script.raised(ALARM) == []
    assert script.raised("sensor-implausible", "valve")


@pytest.mark.parametrize("fill", [False, True])
def test_by_level_alone_none_is_missed(fill: bool) -> None:
    """With no valve switch and 3 mm of noise, every closed valve is told, nearly all in 60 s."""
    late = []
    for seed in range(SEEDS):
        start, script = load(with_sensors(*LEVEL), seed, opened=0.0, fill=fill)
        (raised,) = script.raised(ALARM)
        late.append(raised - start)
    assert min(late) > 0
    assert sum(seconds > 60 for seconds in late) <= SEEDS // 100
    assert max(late) <= 75
    assert statistics.median(late) <= 50


@pytest.mark.parametrize("fill", [False, True])
@pytest.mark.parametrize("minutes", [0.5, 2.0, 12.0])
def test_by_level_alone_no_healthy_load_is_accused(minutes: float, fill: bool) -> None:
    """Loads short and long, with the fill running or not, raise nothing in 200 seeds each."""
    accused = [
        seed
        for seed in range(SEEDS if minutes < 10 else SEEDS // 4)
        if load(with_sensors(*LEVEL), seed, minutes=minutes, fill=fill)[1].raised(ALARM)
    ]
    assert accused == []


def test_by_level_alone_a_worn_pump_is_not_accused() -> None:
    """A pump that delivers four fifths of its rating, with the fill running, is no alarm."""
    accused = [
        seed
        for seed in range(SEEDS)
        if load(with_sensors(*LEVEL), seed, fill=True, delivers=2.9e-3)[1].raised(ALARM)
    ]
    assert accused == []


@pytest.mark.parametrize("pause", [15, 40, 100])
def test_by_level_alone_loads_close_together_raise_nothing(pause: int) -> None:
    """A second truck soon after the first: the level's bend in between accuses nobody."""
    for seed in range(SEEDS // 4):
        world = World(noise={"level": 0.003}, fill=0.9e-3, open=1.0)
        script = Script(with_sensors(*LEVEL), seed=seed, world=world)
        for truck in range(3):
            begin = BEFORE + seed % 10 + truck * (120 + pause)
            script.at(begin, running=1.0).at(begin + 120, running=0.0)
        assert script.run(BEFORE + 3 * (120 + pause)).raised(ALARM) == []


@pytest.mark.parametrize("fill", [False, True])
def test_by_level_alone_a_valve_shut_during_the_run_is_raised_once(fill: bool) -> None:
    """The valve shut in the middle of a long load shows in a minute at most."""
    late = []
    for seed in range(SEEDS):
        start, script = load(with_sensors(*LEVEL), seed, minutes=5, shut_after=150.0, fill=fill)
        (raised,) = script.raised(ALARM)
        late.append(raised - start - 150)
    assert min(late) > 0
    assert max(late) <= 60
    assert statistics.median(late) <= 50


def test_by_level_alone_a_sloshing_tank_takes_longer_and_accuses_nobody() -> None:
    """Twice the declared noise: no false alarm, and a closed valve is still told in two minutes."""
    for seed in range(SEEDS // 2):
        healthy = load(with_sensors(*LEVEL), seed, fill=True, noise=0.006)[1]
        assert healthy.raised(ALARM) == []
        start, shut = load(with_sensors(*LEVEL), seed, opened=0.0, noise=0.006)
        assert within(shut.raised(ALARM), start, start + 120)


@pytest.mark.parametrize("spike", [-0.5, 0.5])
def test_by_level_alone_one_spike_accuses_nobody(spike: float) -> None:
    """A single wild level in the middle of a load is not a closed valve."""
    for seed in range(20):
        start = BEFORE + seed % 10
        script = Script(
            with_sensors(*LEVEL), seed=seed, world=World(noise={"level": 0.003}, open=1.0)
        )
        script.at(start, running=1.0)
        wild = start + 20 + seed * 9
        script.at(wild, lambda w: w.says.update(level=w.level + spike))
        script.at(wild + 10, lambda w: w.says.clear())
        assert script.run(start + 300).raised(ALARM) == []


def test_a_pump_first_seen_running_is_judged_by_what_is_seen_from_then_on() -> None:
    """After a start of the watch no level before the run is assumed, and nothing is missed."""
    for opened, expected in ((1.0, 0), (0.0, 1)):
        world = World(noise={"level": 0.003}, running=1.0, open=opened)
        script = Script(with_sensors(*LEVEL), world=world).run(300)
        assert len(script.raised(ALARM)) == expected


def test_what_the_level_has_shown_is_not_ended_by_waves() -> None:
    """Raised by level with every switch open; then the surface sloshes: unsure is not well."""
    sensors = with_sensors("running", "valve", "level")
    script = Script(sensors, world=World(says={"valve": 1.0}, noise={"level": 0.003}))
    script.at(200, running=1.0).at(300, lambda w: w.noise.update(level=0.05)).run(700)
    assert len(script.raised(ALARM)) == 1
    assert script.cleared(ALARM) == []


def test_a_silent_running_switch_makes_it_blind_and_never_clears_it() -> None:
    """Raised, then the pump's switch falls silent: it stays active, the silence is told too."""
    script = Script().at(100, running=1.0).at(110, lambda w: w.silent.add("running")).run(900)
    assert len(script.raised(ALARM)) == 1
    assert script.cleared(ALARM) == []
    assert script.raised("sensor-silent", "running")


def test_a_fill_as_fast_as_the_pump_leaves_it_to_the_switch() -> None:
    """Where a healthy pump need not lower the level, the level accuses nobody."""
    fast = replace(plan().fills[0], flow_m3_per_s=4e-3)
    script = Script(replace(with_sensors(*LEVEL), fills=(fast,)), world=World(fill=4e-3, open=1.0))
    assert script.at(400, running=1.0).run(700).raised(ALARM) == []


METER = SensorPlan(
    id="flow",
    measures=Measure.FLOW,
    at="pump",
    every_seconds=10.0,
    silent_after_seconds=60.0,
    low=-1e-3,
    high=1e-2,
    standard_uncertainty=5e-5,
)


def metered() -> DepotPlan:
    """A depot with a running switch, a level and a meter in the hose."""
    sensors = with_sensors(*LEVEL)
    return replace(sensors, sensors={**sensors.sensors, "flow": METER})


@pytest.mark.parametrize(("sensors", "told"), [(with_sensors(*LEVEL), True), (metered(), False)])
def test_a_meter_that_flows_has_the_last_word_over_the_level(
    sensors: DepotPlan, told: bool
) -> None:
    """Salt tipped in drives its brine over: the level hardly falls, though the pump pumps.

    By the level alone that is a closed valve.
    """
    script = Script(sensors).at(190, open=1.0).at(200, running=1.0)
    script.at(260, extra=3.4e-3).at(500, extra=0.0).run(520)
    assert bool(script.raised(ALARM)) is told


@pytest.mark.parametrize("says", [0.0, 8e-4])
def test_a_meter_that_hardly_flows_leaves_it_to_the_level(says: float) -> None:
    """Nothing, or less than a quarter of the pump's flow, does not clear a level at rest."""
    script = Script(metered()).at(100, says={"flow": says}).at(200, running=1.0).run(300)
    assert within(script.raised(ALARM), 215, 260)


def test_a_silent_meter_leaves_it_to_the_level() -> None:
    """What it said of the load before is old."""
    script = Script(metered()).at(190, open=1.0).at(200, running=1.0)
    script.at(250, silent={"flow"}).at(260, open=0.0).run(440)
    assert within(script.raised(ALARM), 300, 390)


def test_the_text_tells_the_moment_it_began() -> None:
    """Since when is the pump's start, not the end of the delay."""
    script = Script().at(100, running=1.0).run(200)
    change = script.changes(ALARM)[0]
    assert change.time == START + 103 * SECOND
    assert "Since 18:01." in text_of(script.texts("raised")[0])
