"""This machine's clock is set while it watches: back, ahead, for a moment, or out of 1970."""

from collections.abc import Container
from dataclasses import replace

import pytest

from brineward.engine.engine import Engine
from brineward.readings.entries import ClockStepped, Started, Tick
from brineward.readings.instants import DAY, HOUR, MINUTE, SECOND
from brineward.readings.outputs import AlarmChanged, AlarmState, TextDue
from brineward.readings.values import Reading, Refusal
from depots import DEPOT, START, plan
from engine.scripted import Script, with_sensor

CLOSED, CLOCK = "closed-valve", "clock-wrong"
SILENCES = ("depot-silent", "sensor-silent")
ALL = frozenset(plan().sensors)
WHOSE_TIMES = [
    pytest.param((), id="all with their times"),
    pytest.param(ALL, id="none with its time"),
    pytest.param(ALL - {"level"}, id="the level alone with its time"),
    pytest.param({"level"}, id="all but the level with their times"),
]
SET_AT = 600
STEPS = {
    "an hour back": [(SET_AT, -HOUR)],
    "400 days ahead for ten seconds": [(SET_AT, 400 * DAY), (SET_AT + 10, -400 * DAY)],
    "two hours ahead for 15 s": [(SET_AT, 2 * HOUR), (SET_AT + 15, -2 * HOUR)],
    "out of 1970": [(SET_AT, START - HOUR)],
}
PUMP_AT = [
    pytest.param(SET_AT + after, id=f"pump {after} s after")
    for after in (-2, 0, 3, 9, 12, 17, 40, 200, 297, 301, 400)
]


def played(
    steps: list[tuple[int, int]],
    *,
    bare: Container[str] = (),
    pump_at: int,
    restarts: Container[int] = (),
) -> Script:
    """Twenty minutes and more of a depot whose machine's clock is set; the pump's valve is shut."""
    wrong_at_first = -sum(by for _, by in steps) if steps == STEPS["out of 1970"] else 0
    script = Script(clock_off=wrong_at_first, bare=bare)
    for at, by in steps:
        script.at(at, lambda _, by=by: script.set_clock(by))
    script.at(pump_at, running=1.0)
    while script.now < max(SET_AT + 700, pump_at + 60):
        if script.now in restarts:
            script.restart()
        script.run(script.now + 1)
    return script


@pytest.mark.parametrize("pump_at", PUMP_AT)
@pytest.mark.parametrize("bare", WHOSE_TIMES)
@pytest.mark.parametrize("name", STEPS)
def test_a_pump_against_a_closed_valve_is_raised_in_time(
    name: str, bare: Container[str], pump_at: int
) -> None:
    """Whatever the clock does, whoever's times come: told within seconds, and nothing false is."""
    script = played(STEPS[name], bare=bare, pump_at=pump_at)
    (raised,) = script.heard_raised(CLOSED)
    assert pump_at < raised <= pump_at + 15
    for alarm in SILENCES:
        assert script.heard_raised(alarm) == []
    (reported,) = script.heard_raised(CLOCK, "watch")
    assert SET_AT < reported <= SET_AT + 80


@pytest.mark.parametrize("bare", WHOSE_TIMES)
@pytest.mark.parametrize("name", STEPS)
def test_a_restart_in_the_middle_changes_nothing(name: str, bare: Container[str]) -> None:
    """Another process goes on from the snapshot, every seven seconds: the same to the byte."""
    straight = played(STEPS[name], bare=bare, pump_at=SET_AT + 5)
    often = played(STEPS[name], bare=bare, pump_at=SET_AT + 5, restarts=range(590, 1000, 7))
    assert repr(often.outputs) == repr(straight.outputs)
    assert often.engine.snapshots() == straight.engine.snapshots()


@pytest.mark.parametrize("bare", WHOSE_TIMES)
@pytest.mark.parametrize("name", STEPS)
def test_what_was_said_comes_again_from_the_entries_alone(name: str, bare: Container[str]) -> None:
    """The journal's entries through a fresh engine give the very outputs: replay equals live."""
    live = played(STEPS[name], bare=bare, pump_at=SET_AT + 5)
    engine = Engine({DEPOT: live.plan})
    again = [output for entry in live.entries for output in engine.step(entry)]
    assert repr(again) == repr(live.outputs)
    assert engine.snapshots() == live.engine.snapshots()


@pytest.mark.parametrize("ahead", [3 * MINUTE, 2 * HOUR, 400 * DAY])
@pytest.mark.parametrize("bare", WHOSE_TIMES)
def test_a_snapshot_from_the_future_is_no_prison(bare: Container[str], ahead: int) -> None:
    """The clock was ahead when the service stopped, and is right when it starts again."""
    script = Script(bare=bare, clock_off=ahead).run(300)
    script.clock_off = 0
    script.restart()
    script.start()
    begun = len(script.heard)
    script.at(330, running=1.0).run(900)
    (raised,) = script.heard_raised(CLOSED)
    assert 330 < raised <= 345
    since = [one for when, one in script.heard[begun:] if when > 305]
    changes = [one for one in since if isinstance(one, AlarmChanged)]
    assert all(one.alarm == CLOSED for one in changes if one.state is AlarmState.UNACKNOWLEDGED)
    assert all(START <= one.time <= START + HOUR for one in changes)


@pytest.mark.parametrize("bare", WHOSE_TIMES)
def test_a_machine_without_a_clock_that_restarts_in_1970_goes_on(bare: Container[str]) -> None:
    """No battery: it starts in 1970 with a snapshot; its time comes a minute later."""
    script = Script(bare=bare).run(300)
    script.clock_off = 60 * SECOND - START
    script.restart()
    script.start()
    script.run(360)
    script.set_clock(-script.clock_off)
    script.at(363, running=1.0).run(1200)
    (raised,) = script.heard_raised(CLOSED)
    assert 363 < raised <= 380
    for alarm in SILENCES:
        assert script.heard_raised(alarm) == []
    assert len(script.heard_raised(CLOCK, "watch")) == 1


@pytest.mark.parametrize("after", range(295, 306))
@pytest.mark.parametrize("bare", [ALL, ALL - {"shelter"}], ids=["none with its time", "one"])
def test_no_sensor_is_deaf_after_the_clock_was_set_back(bare: Container[str], after: int) -> None:
    """The reading with which the new clock is believed bears the new time, not the old one."""
    script = Script(bare=bare)
    script.at(SET_AT, lambda _: script.set_clock(-HOUR))
    script.at(SET_AT + after, lambda w: setattr(w, "level", 1.6))
    for moment in range(SET_AT + 290, SET_AT + 400, 3):
        script.run(moment)
        sensors = script.engine.plant(DEPOT).sensors.values()
        now = script.engine._depots[DEPOT].now
        assert [one.plan.id for one in sensors if one.newest > now] == []


@pytest.mark.parametrize("by", [-9, -4, 4, 9])
@pytest.mark.parametrize("bare", WHOSE_TIMES)
def test_a_step_of_seconds_costs_nothing(bare: Container[str], by: int) -> None:
    """Time services do that: nothing is forgotten, nobody is told, no reading is passed over."""
    sensors = with_sensor(plan(), "running", every_seconds=3600.0, silent_after_seconds=9000.0)
    script = Script(sensors, bare=bare)
    script.at(300, running=1.0, open=1.0)
    for at in (600, 700, 800, 900):
        script.at(at, lambda _: script.set_clock(by * SECOND))
    for moment in range(595, 1400, 20):
        script.run(moment)
        assert script.engine.plant(DEPOT).pumps["pump"].running is True
    script.at(1402, open=0.0).run(1500)
    (raised,) = script.heard_raised(CLOSED)
    assert 1402 < raised <= 1420
    assert {one.alarm for one in script.changes()} == {CLOSED}


@pytest.mark.parametrize("after", range(12))
def test_a_switch_that_changes_just_after_a_small_step_back_is_heard(after: int) -> None:
    """Nine seconds back: what arrives bears a time that has been before, and is news."""
    # Read a moment before, and then for an hour on change alone.
    its = with_sensor(plan(), "running", every_seconds=595.0, silent_after_seconds=9000.0)
    script = Script(its, bare=ALL)
    script.at(600, lambda _: script.set_clock(-9 * SECOND))
    script.at(600 + after, running=1.0).run(700)
    (raised,) = script.heard_raised(CLOSED)
    assert 600 + after < raised <= 600 + after + 15


def test_before_the_first_reading_a_step_and_a_refusal_have_their_own_time() -> None:
    """A fresh engine knows no time yet: nothing is reported as of 1970."""
    engine = Engine({DEPOT: plan()})
    found = list(engine.step(Started(time=START, version="1", config_hash="", zone_data="")))
    found += engine.step(ClockStepped(time=START + SECOND + HOUR, by=HOUR))
    for _ in range(5):
        found += engine.step(Refusal(DEPOT, "level", START + HOUR + SECOND, "no", "no"))
    for at in range(10, 400, 10):
        time = START + at * SECOND
        found += engine.step(Reading(DEPOT, "shelter", time, 7.0, time + HOUR))
        found += engine.step(Tick(time=time + HOUR))
    assert {one.alarm for one in found if isinstance(one, AlarmChanged)} >= {CLOCK}
    for one in found:
        if isinstance(one, AlarmChanged):
            assert one.time >= START


FOR_GOOD = {
    "an hour back": -HOUR,
    "an hour ahead": HOUR,
    "400 days ahead": 400 * DAY,
    "out of 1970": START - HOUR,
}


def cold(by: int, bare: Container[str], *, since: int, until: int) -> Script:
    """A shelter that freezes from then on, at a depot whose clock is set in the eleventh minute."""
    script = Script(
        plan(duty=replace(plan().duty, next_after_seconds=420.0)),
        bare=bare,
        clock_off=-by if by == FOR_GOOD["out of 1970"] else 0,
    )
    if by:
        script.at(SET_AT, lambda _: script.set_clock(by))
    return script.at(since, shelter=-3.0).run(until)


@pytest.mark.parametrize("bare", WHOSE_TIMES)
@pytest.mark.parametrize("by", FOR_GOOD.values(), ids=FOR_GOOD)
def test_what_waits_goes_on_waiting_as_long_as_it_had_to(by: int, bare: Container[str]) -> None:
    """Told before the clock was set, nobody took it: the next are told as if it had not been."""

    def rounds(script: Script) -> list[tuple[int, str]]:
        number = script.changes("shelter-freezing")[0].number
        texts = [(when, o) for when, o in script.heard if isinstance(o, TextDue)]
        return [(when, o.person) for when, o in texts if o.number == number]

    plain, found = (rounds(cold(one, bare, since=10, until=3000)) for one in (0, by))
    assert plain[0][0] < SET_AT < plain[1][0]
    assert len(plain) >= 5
    assert [person for _, person in found] == [person for _, person in plain]
    for (when, _), (right, _) in zip(found, plain, strict=True):
        assert abs(when - right) <= 15


@pytest.mark.parametrize("bare", WHOSE_TIMES)
@pytest.mark.parametrize("by", FOR_GOOD.values(), ids=FOR_GOOD)
def test_a_delay_under_way_is_neither_cut_short_nor_begun_again(
    by: int, bare: Container[str]
) -> None:
    """Cold for some of its five minutes when the clock is set: raised after the others."""
    (plain,) = cold(0, bare, since=250, until=1100).heard_raised("shelter-freezing")
    (found,) = cold(by, bare, since=250, until=1100).heard_raised("shelter-freezing")
    assert plain > SET_AT
    assert abs(found - plain) <= 15


@pytest.mark.parametrize("bare", WHOSE_TIMES)
@pytest.mark.parametrize("by", FOR_GOOD.values(), ids=FOR_GOOD)
def test_that_the_clock_was_set_is_said_once_and_clears(by: int, bare: Container[str]) -> None:
    """A minute after it; cleared five minutes and the off-delay after it, and not said again."""
    script = cold(by, bare, since=9999, until=2400)
    (raised,) = script.heard_raised(CLOCK, "watch")
    assert SET_AT + 60 <= raised <= SET_AT + 80
    cleared = [
        when
        for when, o in script.heard
        if isinstance(o, AlarmChanged)
        and (o.alarm, o.source) == (CLOCK, "watch")
        and o.state is AlarmState.RETURNED_UNACKNOWLEDGED
    ]
    assert len(cleared) == 1
    assert SET_AT + 600 <= cleared[0] <= SET_AT + 620
