"""All trackers of a depot: written down and read back anywhere, they go on as if nothing was."""

import json
import random
from collections.abc import Iterator
from functools import cache
from pathlib import Path
from typing import Any

import pytest

from brineward.config.load import load_settings
from brineward.decode.recorded import Recording
from brineward.plant.plan import DepotPlan, Measure
from brineward.plant.shelter import SPAN_SECONDS
from brineward.plant.trackers import Trackers, forget, restore, snapshots
from brineward.readings.entries import HandTest
from brineward.readings.instants import HOUR, MINUTE
from brineward.readings.values import Reading
from depots import START, by_hand, plan, reading, sensor
from recorded.cutting import recordings

HERE = Path(__file__).parent
CONFIG = HERE.parents[1] / "config" / "tern-hollow.toml"
RUNS = tuple(recordings())
LONGEST_RUN = 2500


@cache
def its_plan() -> DepotPlan:
    """The depot that the runs are of."""
    return next(iter(load_settings(CONFIG).depots.values()))


@cache
def run_of(name: str) -> tuple[Reading | HandTest, ...]:
    """A recorded run's readings in their turn, and a test by hand every hour."""
    path = HERE.parent / "recorded" / f"{name}.csv"
    found: list[Reading | HandTest] = []
    newest: dict[str, int] = {}
    tested = 0
    for entry in Recording(path, load_settings(CONFIG).sources, None):
        if isinstance(entry, Reading) and entry.time > newest.get(entry.sensor, 0):
            newest[entry.sensor] = entry.time
            found.append(entry)
            if entry.time - tested > HOUR:
                tested = entry.time
                found.append(by_hand(entry.time - 5 * MINUTE))
    return tuple(found[:LONGEST_RUN])


def fed(trackers: Trackers, entry: Reading | HandTest) -> Any:
    """One entry, as the engine gives it; what came of it."""
    if isinstance(entry, HandTest):
        probe = trackers.probes.get(entry.vessel)
        return probe and probe.learn(entry)
    return tuple(trackers.take(trackers.sensors[entry.sensor], entry))


def shown(trackers: Trackers, now: int) -> Iterator[Any]:
    """All that conditions ask of trackers."""
    for one in trackers.sensors.values():
        yield one.value, one.fresh(now), one.believed(now), one.doubt, one.implausible
        yield one.silent_after, one.bad_why, one.contradicted
    for level in trackers.levels.values():
        yield level.course.level, level.course.slope, level.course.slope_uncertainty
        yield level.course.noise.variance, level.settled(now), level.falls
        yield level.course.middle(60.0) if level.course.level is not None else None
    for pump in trackers.pumps.values():
        yield pump.running, pump.since, pump.unknown(now)
        yield pump.run.drop, pump.run.drop_uncertainty, pump.run.early, pump.run.turned
    for probe in trackers.probes.values():
        yield probe.covered(), probe.calibrated, probe.question()
    for strength in trackers.strengths.values():
        yield str(strength.newest), strength.lately.middle(180.0), strength.lately.middle(600.0)
    shelter = trackers.shelter
    if shelter is not None and shelter.course.level is not None:
        yield shelter.course.middle(SPAN_SECONDS), shelter.course.slope, shelter.outdoors_c(now)
        yield shelter.low.before(now), shelter.fall.now, shelter.fall.usual(now)


@pytest.mark.parametrize("name", RUNS)
def test_cut_anywhere_a_run_goes_on_the_same(name: str) -> None:
    """Every tracker, through JSON, at forty places of every recorded run: what it shows, what comes
    of each further reading up to the next place, and what it writes down again.
    """
    run, draw = run_of(name), random.Random(name)
    cuts = {0, *(draw.randrange(len(run)) for _ in range(40))}
    one, other = Trackers(its_plan()), Trackers(its_plan())
    for place, entry in enumerate(run):
        if place in cuts:
            assert snapshots(other) == snapshots(one)
            other = Trackers(its_plan())
            assert restore(other, json.loads(json.dumps(snapshots(one)))) == []
        if place in cuts or place % 5 == 0:
            assert list(shown(other, entry.time)) == list(shown(one, entry.time))
        assert fed(other, entry) == fed(one, entry)
    assert snapshots(other) == snapshots(one)


def test_cut_anywhere_a_run_of_fast_levels_goes_on_the_same() -> None:
    """What a pump's run shows does not hang on what its level's noise was learned to be since."""
    one, other, draw = Trackers(plan()), Trackers(plan()), random.Random(3)
    for place in range(6_000):
        at = place * 0.1 + draw.uniform(0.0, 0.05)
        name, value = "level", 1.5 - 3e-4 * max(0.0, at - 100.0) + draw.gauss(0.0, 0.01)
        if place % 100 == 0:
            name, value = "running", float(at > 90.0)
        if place % 97 == 0:
            other = Trackers(plan())
            assert restore(other, json.loads(json.dumps(snapshots(one)))) == []
        assert list(shown(other, START)) == list(shown(one, START))
        for its in (one, other):
            its.take(its.sensors[name], reading(name, at, value))


def fast_plan() -> DepotPlan:
    """The small depot with a meter and a clamp, all of whose sensors report fast."""
    sensors = {
        **plan().sensors,
        "flow": sensor("flow", Measure.FLOW, "pump"),
        "current": sensor("current", Measure.CURRENT, "pump", standard_uncertainty=0.05),
    }
    return plan(sensors=sensors)


def longest_list(data: Any) -> int:
    """The longest list anywhere in plain data."""
    inside = list(data.values()) if isinstance(data, dict) else data
    if not isinstance(inside, list | tuple):
        return 0
    return max([len(inside) if isinstance(data, list | tuple) else 0, *map(longest_list, inside)])


def test_at_a_hundred_readings_a_second_every_tracker_stays_small() -> None:
    """Five minutes of it, some readings wild: no list that is gone through for a reading grows
    with the pace.
    """
    trackers, draw = Trackers(fast_plan()), random.Random(4)
    usual = {"level": 1.5, "cond": 17.0, "temp": 5.0, "shelter": 7.0, "flow": 3.6e-3}
    for place in range(30_000):
        seconds = place / 100
        for name in ("level", "cond", "temp", "shelter", "flow", "current"):
            wild = draw.random() < 0.01
            value = 2.5 if wild else usual.get(name, 6.0) + draw.gauss(0.0, 0.003)
            trackers.take(trackers.sensors[name], reading(name, seconds, value))
        if place % 6000 == 0:
            trackers.take(
                trackers.sensors["running"], reading("running", seconds, place // 6000 % 2)
            )
    lists = {name: longest_list(kept) for name, (_, kept) in snapshots(trackers).items()}
    assert max(lists["level/main"], lists["shelter"]) <= 257
    assert lists["strength/main"] <= 513
    assert lists["pump/pump"] <= 513
    assert lists["following/main"] <= 37
    assert lists["probe/main"] <= 145
    assert max(size for name, size in lists.items() if name.startswith("sensor/")) <= 601


def test_each_tracker_has_a_name_of_its_own() -> None:
    """Snapshots are found again by it."""
    names = [one.name for one in Trackers(its_plan())]
    assert len(names) == len(set(names))


@pytest.mark.parametrize("broken", [None, [], {}, "x", 7, [[1], 2], [1, 2, 3, 4]])
def test_one_that_cannot_be_read_back_starts_afresh_alone(broken: Any) -> None:
    """Damage, or another version, of one tracker costs what that one knew, and is named."""
    one = Trackers(its_plan())
    for entry in run_of("closed-valve"):
        fed(one, entry)
    kept = snapshots(one)
    blank = snapshots(Trackers(its_plan()))
    for name in kept:
        for damaged in ([kept[name][0], broken], [kept[name][0] + 1, kept[name][1]]):
            other = Trackers(its_plan())
            afresh = restore(other, {**kept, name: damaged})
            if not afresh:  # it is what this one may write
                continue
            assert afresh == [name]
            assert snapshots(other)[name] == blank[name]
            rest = {key: value for key, value in snapshots(other).items() if key != name}
            assert rest == {key: value for key, value in kept.items() if key != name}


def test_a_clock_set_anew_leaves_what_people_taught() -> None:
    """Tests, records, what is usual and the salt last; what else was remembered by the old times
    is learned again."""
    one = Trackers(its_plan())
    for entry in run_of("weak-brine"):
        fed(one, entry)
    lasting = {tracker.name: tracker.snapshot() for tracker in one if tracker.lasting}
    assert {"mode", "probe/main", "record-count", "batch-tests/main"} <= set(lasting)
    assert any(name.startswith("signs/") for name in lasting)
    assert any(name.startswith("salt") for name in lasting)
    forget(one, Trackers(its_plan()))
    blank = snapshots(Trackers(its_plan()))
    for tracker in one:
        if tracker.lasting:
            assert tracker.snapshot() == lasting[tracker.name]
        else:
            assert [tracker.version, tracker.snapshot()] == blank[tracker.name]
