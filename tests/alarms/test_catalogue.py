"""The catalogue of alarms: each record complete, and the roster raises what it says and no more."""

from dataclasses import fields, replace
from pathlib import Path

import pytest
from brineward.alarms.catalogue import CATALOGUE, AlarmRecord
from brineward.alarms.roster import coverage, watches_for

from brineward.config.load import load_settings
from brineward.plant.plan import AlarmSettings, Measure
from brineward.readings.outputs import Priority
from brineward.wording.gsm import septets
from depots import plan, sensor
from engine.scripted import Script, World

CONFIG = Path(__file__).parents[2] / "config"
TERN_HOLLOW = next(iter(load_settings(CONFIG / "tern-hollow.toml").depots.values()))
METER = sensor("density", Measure.DENSITY, "main", low=900.0, high=1300.0, standard_uncertainty=1.0)
ALL_SENSORS = replace(TERN_HOLLOW, sensors={**TERN_HOLLOW.sensors, "density": METER})
OPTIONAL = {"text_afterwards", "limit_quantity", "limit", "deadband", "suppressed_by"}


@pytest.mark.parametrize("record", CATALOGUE.values(), ids=CATALOGUE.keys())
def test_each_record_is_complete(record: AlarmRecord) -> None:
    """Cause, consequence, response, time to respond and basis: an alarm without them is none."""
    for field in fields(record):
        value = getattr(record, field.name)
        if field.name not in OPTIONAL:
            assert value not in ("", None), field.name
        if isinstance(value, str) and field.name in ("cause", "consequence", "response", "basis"):
            assert value.endswith("."), field.name
            assert not value[0].islower(), field.name
    assert record.on_delay_seconds >= 0
    assert record.off_delay_seconds >= 0
    assert set(record.suppressed_by) <= set(CATALOGUE)
    assert septets(record.text_response) <= 70
    assert septets(record.text_afterwards) <= 70


def test_what_chatters_has_a_delay() -> None:
    """Whatever is judged from readings has an on- and an off-delay; none is zero by accident."""
    told_by_others = {"texts-failing", "records-damaged", "probe-drifted"}
    for record in CATALOGUE.values():
        if record.id not in told_by_others:
            assert record.on_delay_seconds > 0, record.id
            assert record.off_delay_seconds > 0, record.id


def test_a_numeric_limit_that_can_be_set_has_a_deadband() -> None:
    """A limit without a deadband would flap."""
    for record in CATALOGUE.values():
        if record.limit_quantity is not None:
            assert record.deadband > 0, record.id


def test_few_alarms_are_high() -> None:
    """ISA-18.2-2016 table 7 asks for about 5 % of high alarms raised; here, three kinds of all."""
    assert [r.id for r in CATALOGUE.values() if r.priority is Priority.HIGH] == [
        "closed-valve",
        "overflow-ahead",
        "shelter-freezing",
    ]


def test_every_alarm_of_the_catalogue_can_be_raised_at_a_full_depot() -> None:
    """What is printed is what is watched: no record without a condition, no condition without."""
    assert {watch.condition.alarm for watch in watches_for(ALL_SENSORS)} == set(CATALOGUE)
    for watch in watches_for(ALL_SENSORS):
        assert watch.record is CATALOGUE[watch.condition.alarm]


def test_each_watch_is_of_one_alarm_at_one_place() -> None:
    """No alarm is raised twice for one place."""
    keys = [(w.condition.alarm, w.condition.source) for w in watches_for(ALL_SENSORS)]
    assert len(keys) == len(set(keys))


def test_a_change_says_what_the_catalogue_says() -> None:
    """Raised with the priority, the delay and the limit that are printed."""
    script = Script(world=World(shelter=1.0)).run(1000)
    (raised,) = script.changes("shelter-freezing")
    record = CATALOGUE["shelter-freezing"]
    assert raised.priority is record.priority
    assert raised.limit == record.limit
    assert 0 <= script.raised()[0] - record.on_delay_seconds <= 60


def test_settings_of_the_config_take_the_place_of_the_catalogues() -> None:
    """A limit and delays set in the config hold; an alarm switched off is not watched."""
    its = plan(
        alarms={
            "shelter-freezing": AlarmSettings(
                limit=6.0, on_delay_seconds=10.0, off_delay_seconds=20.0, deadband=0.5
            ),
            "brine-weak": AlarmSettings(enabled=False),
        }
    )
    found = {watch.condition.alarm: watch for watch in watches_for(its)}
    assert "brine-weak" not in found
    freezing = found["shelter-freezing"]
    assert (freezing.on_delay_seconds, freezing.off_delay_seconds) == (10.0, 20.0)
    script = Script(its, world=World(shelter=5.9)).run(120)
    assert script.changes()[0].limit == 6.0
    script.at(200, shelter=6.4).run(2000)
    assert script.over("shelter-freezing") == []
    script.at(2100, shelter=6.6).run(4000)
    assert len(script.over("shelter-freezing")) == 1


def test_with_every_sensor_everything_is_covered() -> None:
    """The full example depot is blind for nothing."""
    assert {c.how for c in coverage(ALL_SENSORS)} == {"covered"}


def test_without_sensors_everything_is_blind_and_says_what_would_help() -> None:
    """A depot with no sensor at all: each alarm about the plant is named as blind."""
    bare = replace(plan(), sensors={})
    found = coverage(bare)
    assert {c.how for c in found} == {"blind"}
    assert all(c.would_help for c in found)
    assert {c.alarm for c in found} == {
        "closed-valve",
        "overflow-ahead",
        "shelter-freezing",
        "brine-weak",
        "brine-strong",
        "strength-unknown",
    }


@pytest.mark.parametrize(
    ("without", "alarm", "how"),
    [
        ({"level"}, "overflow-ahead", "blind"),
        ({"level"}, "brine-weak", "indirect"),
        ({"cond"}, "brine-weak", "blind"),
        ({"temp"}, "brine-strong", "blind"),
        ({"temp"}, "strength-unknown", "blind"),
        ({"shelter"}, "shelter-freezing", "blind"),
        ({"valve"}, "closed-valve", "indirect"),
        ({"level"}, "closed-valve", "covered"),
        ({"valve", "level"}, "closed-valve", "blind"),
        ({"running"}, "closed-valve", "blind"),
    ],
)
def test_coverage_says_what_a_missing_sensor_costs(without: set[str], alarm: str, how: str) -> None:
    """Each alarm is covered, indirectly covered or blind by the sensors that there are."""
    left = {name: sensor for name, sensor in plan().sensors.items() if name not in without}
    found = {c.alarm: c for c in coverage(replace(plan(), sensors=left))}
    assert found[alarm].how == how
    if how != "covered":
        assert found[alarm].would_help
    assert not set(found[alarm].by) & without


def test_a_blind_alarm_is_not_watched() -> None:
    """What coverage calls blind has no condition, and what it doesn't has one."""
    left = {n: s for n, s in plan().sensors.items() if n not in {"level", "cond"}}
    its = replace(plan(), sensors=left)
    watched = {(w.condition.alarm, w.condition.source) for w in watches_for(its)}
    for covered in coverage(its):
        assert ((covered.alarm, covered.source) in watched) == (covered.how != "blind")
