"""A current that says nothing while its pump delivers; and what is none."""

import json
from dataclasses import replace

import pytest
from hypothesis import example, given
from hypothesis import strategies as st

from brineward.plant.idle_current import (
    IDLE_SECONDS,
    IdleCurrentTracker,
    idle_current_trackers,
)
from brineward.plant.plan import DELIVERS_SHARE, DepotPlan, Measure
from brineward.plant.trackers import Trackers
from brineward.readings.instants import SECOND
from depots import START, plan, sensor

FLOW = 3.6e-3
"""The small depot's pump, m3/s."""
CLAMP = sensor("current", Measure.CURRENT, "pump", standard_uncertainty=0.05)
METER = sensor("flow", Measure.FLOW, "pump")


def idle_currents(its: DepotPlan) -> list[IdleCurrentTracker]:
    """Those of a depot."""
    trackers = Trackers(its)
    return idle_current_trackers(its, trackers.sensors, trackers.pumps)


def idle_current() -> IdleCurrentTracker:
    """That of the small depot, which has a clamp and a meter besides."""
    its = plan()
    sensors = {**its.sensors, "current": CLAMP, "flow": METER}
    [found] = idle_currents(replace(its, sensors=sensors))
    return found


def hear(
    one: IdleCurrentTracker,
    seconds: float,
    current_a: float,
    flow: float | None,
    *,
    since: float = 0.0,
    every: float = 10.0,
) -> list[float]:
    """The same from `since` on; returns the seconds at which the finding changed."""
    times = [since + every * place for place in range(round(seconds / every))]
    return [at for at in times if one.note(START + round(at * SECOND), current_a, flow)]


def test_it_is_found_after_a_minute_of_flow() -> None:
    """Not in the first minute; and it ends at the first current that is one."""
    one = idle_current()
    assert hear(one, 3600, 0.0, None) == []
    assert hear(one, 300, 0.0, FLOW, since=3600) == [3600 + IDLE_SECONDS]
    assert hear(one, 3600, 0.0, None, since=3900) == []
    assert one.idle
    assert hear(one, 60, 6.0, FLOW, since=7500) == [7500]


@pytest.mark.parametrize(
    ("current_a", "flow"),
    [
        pytest.param(0.0, None, id="it stands, or nobody knows the flow"),
        pytest.param(0.0, 0.9 * DELIVERS_SHARE * FLOW, id="hardly anything flows"),
        pytest.param(0.21, FLOW, id="a small current is one"),
    ],
)
def test_what_is_none(current_a: float, flow: float | None) -> None:
    """An hour of it says nothing."""
    assert hear(idle_current(), 3600, current_a, flow) == []


def test_a_clamp_s_own_error_is_no_current() -> None:
    """A dead clamp that says 0.1 A shows none."""
    assert hear(idle_current(), 120, 0.1, FLOW) == [IDLE_SECONDS]


def test_flow_that_stops_begins_the_minute_anew() -> None:
    """A minute in all, in three pieces, is no minute."""
    one = idle_current()
    for start in (0, 100, 200):
        assert hear(one, 50, 0.0, FLOW, since=start) == []
        assert hear(one, 20, 0.0, 0.0, since=start + 50) == []


def test_what_was_while_it_was_silent_nobody_knows() -> None:
    """Two zeros at two loads' starts, an hour apart and with silence between, are no minute."""
    one = idle_current()
    assert hear(one, 10, 0.0, FLOW) == []
    assert hear(one, 10, 0.0, FLOW, since=3600) == []


@pytest.mark.parametrize("missing", ["current", "flow", "running"])
def test_without_one_of_the_three_nothing_is_judged(missing: str) -> None:
    """A current, a meter and the switch that says that it runs."""
    its = plan()
    sensors = {**its.sensors, "current": CLAMP, "flow": METER}
    del sensors[missing]
    assert idle_currents(replace(its, sensors=sensors)) == []


@given(
    st.lists(
        st.tuples(
            st.floats(1.0, 100.0), st.sampled_from([0.0, 6.0]), st.sampled_from([None, 0.0, FLOW])
        ),
        max_size=30,
    ),
    st.integers(0, 30),
)
@example([(10.0, 0.0, FLOW)] * 9, 5)
def test_written_down_and_read_back_it_goes_on_the_same(
    readings: list[tuple[float, float, float | None]], cut: int
) -> None:
    """At whatever reading it is cut."""
    whole, before = idle_current(), idle_current()
    time, found = START, []
    for gap, current_a, flow in readings:
        time += round(gap * SECOND)
        found.append((time, current_a, flow, whole.note(time, current_a, flow), whole.idle))
    for time, current_a, flow, *said in found[:cut]:
        assert [before.note(time, current_a, flow), before.idle] == said
    after = idle_current()
    after.restore(json.loads(json.dumps(before.snapshot())))
    for time, current_a, flow, *said in found[cut:]:
        assert [after.note(time, current_a, flow), after.idle] == said
