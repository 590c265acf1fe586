"""This machine's clock is set while it watches: back, ahead, for a moment, or out of 1970."""

from collections.abc import Container

import pytest

from brineward.readings.instants import DAY, HOUR
from depots import START, plan
from engine.scripted import Script

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
