"""Snapshots: nothing that counts is left out, and what can't be read costs no more than itself.

By default 60 pasts; more with BRINEWARD_EXAMPLES in the environment.
"""

import os
from collections.abc import Callable
from dataclasses import replace
from pathlib import Path
from typing import Any, NamedTuple

import orjson
import pytest
from hypothesis import given, settings
from hypothesis import strategies as st

from brineward.engine.engine import Engine
from brineward.plant.plan import Duty
from brineward.plant.trackers import forget
from brineward.readings.entries import AlarmGone, Entry, Started, Take, Tick
from brineward.readings.instants import MINUTE, SECOND
from brineward.readings.outputs import AlarmState, Output, Priority, TextDue
from depots import DEPOT, START, brine, plan, reading
from engine.happenings import happenings
from engine.memory import memory_of
from engine.scripted import Script, World, with_sensors

EXAMPLES = int(os.environ.get("BRINEWARD_EXAMPLES", "60"))
VERSION_6 = Path(__file__).with_name("snapshot-version-6.json")


def restored(engine: Engine) -> Engine:
    """Another process's engine, from this one's snapshot."""
    other = Engine({DEPOT: plan()})
    assert other.restore(engine.snapshots()) == []
    return other


@settings(max_examples=EXAMPLES, deadline=None)
@given(happenings(clock_set=True))
def test_nothing_that_is_remembered_is_left_out(entries: list[Entry]) -> None:
    """After any past every attribute of every tracker is the same in a restarted engine."""
    engine = Engine({DEPOT: plan()})
    for place, entry in enumerate(entries):
        engine.step(entry)
        if place % 5 == 0 or place == len(entries) - 1:
            assert memory_of(restored(engine)) == memory_of(engine)


def _but_asked(memory: object) -> object:
    """All but the silence that a sensor asked for: it holds until it asks for another."""
    if not isinstance(memory, dict):
        return memory
    asked = ("_asked", "silent_after", "hastened")
    return {name: value for name, value in memory.items() if name not in asked}


@settings(max_examples=EXAMPLES, deadline=None)
@given(happenings())
def test_what_is_forgotten_is_as_if_it_was_never_known(entries: list[Entry]) -> None:
    """Trackers that start again after the clock was set keep nothing of before, anywhere."""
    engine, blank = Engine({DEPOT: plan()}), Engine({DEPOT: plan()})
    for entry in entries:
        engine.step(entry)
    depot, other = engine._depots[DEPOT], blank._depots[DEPOT]
    forget(depot._trackers, other._trackers)
    before, fresh = memory_of(engine), memory_of(blank)
    for tracker in depot._trackers:
        if not tracker.lasting:
            assert _but_asked(before[tracker.name]) == _but_asked(fresh[tracker.name])


def standing(engine: Engine, begin: int, end: int, **says: float | None) -> list[Output]:
    """A depot with nothing wrong, or with what these sensors say."""
    plain = {"level": 1.5, "temp": 5.0, "cond": brine(0.233, 5.0), "shelter": 7.0}
    found: list[Output] = []
    for at in range(begin, end, 10):
        for name, value in {**plain, "running": 0.0, "valve": 0.0, **says}.items():
            found += engine.step(reading(name, at, value))
    return found


def test_a_bad_reading_after_a_restart_is_judged_as_without_it() -> None:
    """Weak brine in its delay, a restart, a reading without a value: announced at the same time."""
    told = []
    for stop in (False, True):
        engine = Engine({DEPOT: plan()})
        standing(engine, 0, 600, cond=brine(0.19, 5.0))
        found: list[Output] = []
        if stop:
            engine = restored(engine)
        found += engine.step(reading("cond", 605, None))
        found += standing(engine, 610, 1200, cond=brine(0.19, 5.0))
        told.append(found)
    assert told[0] == told[1]


GARBAGE: list[Any] = [
    None,
    7,
    "x",
    [],
    {},
    [None] * 5,
    [[1, 2], [3]],
    {"a": 1},
    [[None] * 6, [], 1, 2],
]


class Calm(NamedTuple):
    """What an engine remembers after five calm minutes, and its snapshot; and a new one."""

    memory: dict[str, Any]
    snapshot: bytes
    blank: dict[str, Any]


@pytest.fixture(scope="module")
def calm() -> Calm:
    """Played once, and only read."""
    engine, blank = Engine({DEPOT: plan()}), Engine({DEPOT: plan()})
    standing(engine, 0, 300)
    return Calm(memory_of(engine), engine.snapshots()[DEPOT], memory_of(blank))


def damaged(snapshot: bytes, name: str, change: Callable[[Any], Any]) -> dict[str, bytes]:
    """The snapshot with another one for one of its trackers."""
    data = orjson.loads(snapshot)
    assert name in data["trackers"]
    data["trackers"][name] = change(data["trackers"][name])
    return {DEPOT: orjson.dumps(data)}


NAMES = [tracker.name for tracker in Engine({DEPOT: plan()})._depots[DEPOT]._trackers]


@pytest.mark.parametrize("name", NAMES)
@pytest.mark.parametrize("garbage", [*range(len(GARBAGE)), "older", "newer"])
def test_one_tracker_that_cant_be_read_begins_afresh_alone(
    name: str, garbage: int | str, calm: Calm
) -> None:
    """Of another version, or with data that it never wrote: it is named, the others go on."""
    if isinstance(garbage, str):
        version = {"older": 0, "newer": 99}[garbage]
        kept = damaged(calm.snapshot, name, lambda its: [version, its[1]])
    else:
        kept = damaged(calm.snapshot, name, lambda its: [its[0], GARBAGE[garbage]])
    again = Engine({DEPOT: plan()})
    afresh = again.restore(kept)
    found = memory_of(again)
    assert afresh in ([f"{DEPOT}/{name}"], [])
    if afresh:
        assert found[name] == calm.blank[name]
    for other in set(NAMES) - {name}:
        assert found[other] == calm.memory[other], other
    standing(again, 300, 600)
    assert memory_of(restored(again)) == memory_of(again)


def test_garbage_that_a_tracker_never_wrote_is_refused_by_most(calm: Calm) -> None:
    """The test above does see trackers begin afresh: a string is no tracker's data."""
    for name in NAMES:
        again = Engine({DEPOT: plan()})
        assert again.restore(damaged(calm.snapshot, name, lambda its: [its[0], "x"])) == [
            f"{DEPOT}/{name}"
        ]


@pytest.mark.parametrize("part", ["book", "telling", "clock", "news"])
def test_a_depot_whose_snapshot_is_damaged_is_left_as_it_was(part: str) -> None:
    """It is read whole or not at all: no engine with half a past, in another time."""
    engine = Engine({DEPOT: plan()})
    standing(engine, 0, 300)
    data = orjson.loads(engine.snapshots()[DEPOT])
    data[part] = {"number": 7}
    again = Engine({DEPOT: plan()})
    before = again.snapshots()
    with pytest.raises((ValueError, TypeError, KeyError)):
        again.restore({DEPOT: orjson.dumps(data)})
    assert again.snapshots() == before
    assert again.now == 0


@pytest.mark.parametrize("garbage", [b"", b"[]", b"{}", b'{"version":5}', b"\xff", b"7"])
def test_what_is_no_snapshot_is_refused(garbage: bytes) -> None:
    """With a ValueError, which the service answers by watching afresh."""
    with pytest.raises(ValueError, match=r".+"):
        Engine({DEPOT: plan()}).restore({DEPOT: garbage})


def test_a_snapshot_of_version_6_keeps_the_probes_tests() -> None:
    """Written by the version before: what people's tests have taught is not to be had again.

    The file is such a snapshot, of a probe that read 2 % low in three tests.
    """
    again = Engine({DEPOT: plan()})
    afresh = again.restore({DEPOT: VERSION_6.read_bytes()})
    assert f"{DEPOT}/probe/main" not in afresh
    assert f"{DEPOT}/level/main" in afresh
    probe = again.plant(DEPOT).probes["main"]
    assert [record.finding for record in probe.records] == ["kept", "kept", "kept"]
    factor = probe.factor(DEPOT, START)
    assert factor is not None
    assert factor.value == pytest.approx(1 / 0.98, abs=1e-3)
    assert again.now == 0
    assert memory_of(restored(again)) == memory_of(again)


def test_people_who_have_left_are_told_of_nothing_any_more() -> None:
    """Told of an alarm, then out of the config: it clears, is taken, and the watch goes on."""
    for end in ("cleared", "taken"):
        script = Script(with_sensors("shelter"), world=World(shelter=-3.0)).run(1000)
        assert {text.person for text in script.texts()} == {"yard", "dispatch"}
        fewer = replace(script.plan, duty=Duty(on_call=("dispatch",)))
        other = Engine({DEPOT: fewer})
        other.restore(script.engine.snapshots())
        found: list[Output] = []
        if end == "taken":
            found += other.step(
                Take(depot=DEPOT, time=script.time, received=script.time, number=1, by="chief")
            )
        else:
            for at in range(1010, 3000, 10):
                found += other.step(reading("shelter", at, 8.0))
        texts = [o for o in found if isinstance(o, TextDue) and o.kind == end]
        assert [text.person for text in texts] == ["dispatch"]


GONE = AlarmGone(
    time=START,
    depot=DEPOT,
    alarm="brine-weak",
    source="old-tank",
    number=7,
    state="acknowledged",
    priority="medium",
)


@pytest.mark.parametrize("depot", [DEPOT, "gone-too"])
def test_an_alarm_that_the_config_no_longer_has_gets_one_closing_change(depot: str) -> None:
    """Nobody could take it any more: it ends in the journal, with its number, and once."""
    engine = Engine({DEPOT: plan(), "kettle-ridge": replace(plan(), id="kettle-ridge")})
    before = engine.snapshots()
    (closing,) = engine.step(replace(GONE, depot=depot))
    assert (closing.depot, closing.alarm, closing.source) == (depot, "brine-weak", "old-tank")
    assert (closing.number, closing.priority) == (7, Priority.MEDIUM)
    assert (closing.before, closing.state) == (AlarmState.ACKNOWLEDGED, AlarmState.NORMAL)
    assert closing.time == START
    assert closing.sentence
    assert engine.snapshots() == before


@settings(max_examples=20, deadline=None)
@given(st.integers(0, 60))
def test_more_than_one_depot_is_kept_each_by_itself(minutes: int) -> None:
    """Restored from both, one of which is damaged, the other has its past."""
    plans = {DEPOT: plan(), "kettle-ridge": replace(plan(), id="kettle-ridge")}
    engine = Engine(plans)
    engine.step(Started(time=START, version="1", config_hash="", zone_data=""))
    engine.step(reading("level", minutes, 1.5))
    engine.step(Tick(time=START + minutes * MINUTE + 90 * SECOND))
    kept = engine.snapshots()
    again = Engine(plans)
    assert again.restore({DEPOT: kept[DEPOT]}) == []
    assert again.snapshots()[DEPOT] == kept[DEPOT]
    assert again.snapshots()["kettle-ridge"] != kept["kettle-ridge"]
