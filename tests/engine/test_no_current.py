"""A pump's current that shows nothing, scripted: what names it, and what doesn't."""

from brineward.plant.plan import DepotPlan, Measure
from depots import plan, sensor
from engine.scripted import Script, text_of, within

DOUBTED = "sensor-implausible"


def with_clamp() -> DepotPlan:
    """The small depot, filled by hand, with a clamp on its pump's cable and a meter in its hose."""
    clamp = sensor("current", Measure.CURRENT, "pump", standard_uncertainty=0.05)
    meter = sensor("flow", Measure.FLOW, "pump", standard_uncertainty=1e-5)
    return plan(fills=(), sensors={**plan().sensors, "current": clamp, "flow": meter})


def test_a_current_stuck_at_nothing_is_named_in_the_next_load() -> None:
    """At rest a healthy one says the same; in the load it is named, once, and nothing else is."""
    script = Script(with_clamp()).at(0, lambda w: w.says.update(current=0.0))
    script.at(3000, running=1.0, open=1.0).at(3400, running=0.0, open=0.0).run(8000)
    assert within(script.raised(DOUBTED, "current"), 3000 + 60 + 90, 3000 + 60 + 90 + 30)
    assert {(c.alarm, c.source) for c in script.changes()} == {(DOUBTED, "current")}
    assert "current shows no current though the pump delivers" in text_of(script.texts("raised")[0])


def test_brine_that_flows_by_itself_needs_no_current() -> None:
    """Down a hose from a full tank, through a pump that is stopped."""
    script = Script(with_clamp()).at(0, lambda w: w.says.update(current=0.0, flow=3e-3))
    assert script.run(4000).raised(DOUBTED) == []


def test_no_current_against_a_closed_valve_is_not_the_clamp_s_fault() -> None:
    """Nothing flows: then nobody knows whether the pump turned at all."""
    script = Script(with_clamp()).at(0, lambda w: w.says.update(current=0.0))
    script.at(1000, running=1.0).at(1600, running=0.0).run(4000)
    assert script.raised(DOUBTED) == []
