"""Alarms where one tracker starts afresh, after an upgrade say, and the others remember."""

from functools import cache

import orjson
import pytest

from brineward.engine.engine import Engine
from brineward.plant.plan import DepotPlan, Measure
from brineward.readings.entries import Entry, LinkChanged, Tick
from brineward.readings.instants import SECOND
from brineward.readings.values import Refusal
from depots import DEPOT, START, brine, by_hand, plan, reading, sensor

VALUES = {
    "level": 1.5,
    "cond": brine(0.233, 5.0),
    "temp": 5.0,
    "shelter": 2.0,
    "running": 1.0,
    "valve": 0.0,
    "flow": 0.0,
    "current": 5.0,
    "density": 1170.0,
}


@cache
def whole_plan() -> DepotPlan:
    """The small depot with every kind of tracker."""
    more = (
        sensor("flow", Measure.FLOW, "pump"),
        sensor("current", Measure.CURRENT, "pump"),
        sensor("density", Measure.DENSITY, "main", low=900.0, high=1300.0),
    )
    return plan(sensors={**plan().sensors, **{one.id: one for one in more}})


@cache
def an_hour() -> bytes:
    """What an engine remembers of an hour in which several alarms were raised."""
    its = whole_plan()
    engine = Engine({its.id: its})
    for place in range(360):
        for name, value in VALUES.items():
            engine.step(reading(name, place * 10, value))
    engine.step(by_hand(START + 3600 * SECOND))
    return engine.snapshots()[DEPOT]


def what_may_come(seconds: float) -> list[Entry]:
    """Of each sensor what can't be read, a bad value, a wild one and a good one, and the rest."""
    time = START + round(seconds * SECOND)
    entries: list[Entry] = [
        LinkChanged(time=time, up=False, gap=False, why="lost"),
        LinkChanged(time=time, up=True, gap=False, why=""),
        Tick(time=time),
    ]
    for name, value in VALUES.items():
        refused = Refusal(DEPOT, name, time, "not-a-number", "it is no number")
        entries += [refused, reading(name, seconds, None), reading(name, seconds + 1, 1e9)]
        entries.append(reading(name, seconds + 2, value))
    return entries


@pytest.mark.parametrize("name", sorted(orjson.loads(an_hour())["trackers"]))
@pytest.mark.parametrize("after", [2.0, 400.0, 8000.0])
def test_whichever_starts_afresh_no_entry_stops_the_watch(name: str, after: float) -> None:
    """One that has changed since, or was damaged, is learned again: nothing that builds on it, and
    remembers more, is taken by surprise.
    """
    kept = orjson.loads(an_hour())
    kept["trackers"][name][0] += 1
    engine = Engine({DEPOT: whole_plan()})
    assert engine.restore({DEPOT: orjson.dumps(kept)}) == [f"{DEPOT}/{name}"]
    for entry in what_may_come(3600.0 + after):
        engine.step(entry)
    engine.step(by_hand(START + 3700 * SECOND))
    for place in range(30):
        for sensor_id, value in VALUES.items():
            engine.step(reading(sensor_id, 3600.0 + after + 10 * (place + 1), value))
    assert engine.snapshots()
