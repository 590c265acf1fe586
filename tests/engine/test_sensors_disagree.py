"""Two sensors of one thing, scripted: they disagree beyond what both allow, or they don't."""

import pytest

from brineward.plant.plan import Measure
from brineward.plant.sensor_pairs import sensor_pairs
from brineward.plant.trackers import Trackers
from depots import plan, sensor
from engine.scripted import Script, World, text_of, within

ALARM = "sensors-disagree"


def script_with(off: float, *, noise: float = 0.003) -> Script:
    """A second level in the main tank, off by so much from 600 s on, while a load is drawn."""
    second = sensor("second", Measure.LEVEL, "main", low=0.0, high=2.6)
    world = World(noise={"level": noise, "second": noise}, open=1.0)
    shift = {"by": 0.0}
    world.every_second.append(lambda w: w.says.update(second=w.level + shift["by"]))
    script = Script(plan(sensors={**plan().sensors, "second": second}), world=world)
    script.at(200, running=1.0).at(500, running=0.0)
    return script.at(600, lambda _: shift.update(by=off)).at(4000, lambda _: shift.update(by=0.0))


@pytest.mark.parametrize("off", [0.1, -0.1])
def test_two_levels_that_part_are_raised_once_and_cleared(off: float) -> None:
    """Not by a wave: after the mean of two minutes and five more; and cleared when they agree."""
    script = script_with(off)
    script.at(1500, lambda _: script.restart()).run(5500)
    assert within(script.raised(ALARM, "second"), 900, 1100)
    assert within(script.cleared(ALARM, "second"), 4300, 4900)
    assert "level and second disagree" in text_of(script.texts("raised")[0])


@pytest.mark.parametrize("off", [0.0, 0.015])
def test_two_that_agree_within_their_accuracy_raise_nothing(off: float) -> None:
    """Through a load, with noise of each reading, and off by less than both allow."""
    assert script_with(off).run(5000).raised(ALARM) == []


def test_one_that_is_silent_is_not_one_that_disagrees() -> None:
    """Silence is another alarm's."""
    script = script_with(0.5).at(590, lambda w: w.silent.add("second"))
    assert script.run(3000).raised(ALARM) == []


@pytest.mark.parametrize(
    ("measures", "at", "mounted", "paired"),
    [
        (Measure.LEVEL, "main", 0.0, True),
        (Measure.TEMPERATURE, "shelter", 0.0, True),
        (Measure.CONDUCTIVITY, "main", 0.3, True),
        (Measure.CONDUCTIVITY, "main", 1.5, False),  # another layer of the tank
        (Measure.PRESSURE, "pump", 0.0, False),  # one before the pump, one after it
        (Measure.RUNNING, "pump", 0.0, False),
    ],
)
def test_what_is_one_thing(measures: Measure, at: str, mounted: float, paired: bool) -> None:
    """The same measure at one place and height; no switch, and no two sides of a pump."""
    first = sensor("first", measures, at, mounted_m=0.3 if mounted else 0.0)
    second = sensor("second", measures, at, mounted_m=mounted)
    its = plan(sensors={"first": first, "second": second})
    found = sensor_pairs(its, Trackers(its).sensors)
    assert [(p.first.plan.id, p.other.plan.id) for p in found] == [("first", "second")] * paired
