"""The catalogue of alarms: each record complete, and the roster raises what it says and no more."""

import re
from collections.abc import Iterable
from dataclasses import asdict, fields, replace
from importlib import import_module
from pathlib import Path
from pkgutil import iter_modules

import pytest

import brineward.alarms
from brineward.alarms.condition import Alarm
from brineward.alarms.record import AlarmRecord
from brineward.alarms.registry import (
    ALARMS,
    CATALOGUE,
    ConfiguredAlarm,
    alarms_at,
    coverage,
    site_of,
)
from brineward.config.load import load_settings
from brineward.engine.engine import Engine
from brineward.plant.plan import AlarmSettings, DepotPlan, Measure
from brineward.plant.rota import Rota
from brineward.readings.instants import SECOND
from brineward.readings.outputs import AlarmChanged, AlarmState, Priority
from brineward.wording.gsm import septets
from brineward.wording.operator_units import in_units
from depots import START, plan, reading, sensor

CONFIG = Path(__file__).parents[2] / "config"
TERN_HOLLOW = next(iter(load_settings(CONFIG / "tern-hollow.toml").depots.values()))
METER = sensor("density", Measure.DENSITY, "main", low=900.0, high=1300.0, standard_uncertainty=1.0)
MAINS = sensor("mains-power", Measure.POWER, "mains")
SUPPLY = sensor("heater-power", Measure.POWER, "heater")
SECOND_LEVEL = sensor("main-level-2", Measure.LEVEL, "main", low=0.0, high=2.6)
ADDED = {one.id: one for one in (METER, MAINS, SUPPLY, SECOND_LEVEL)}
ROTA = Rota(people=TERN_HOLLOW.duty.on_call, calendar=True)
ALL_SENSORS = replace(
    TERN_HOLLOW,
    sensors={**TERN_HOLLOW.sensors, **ADDED},
    duty=replace(TERN_HOLLOW.duty, rota=ROTA),
)
OPTIONAL = {
    "danger",
    "text_afterwards",
    "text_asks",
    "respond_seconds",
    "limit_quantity",
    "limit",
    "limit_unit",
    "deadband",
    "suppressed_by",
    "speaks_up_when",
}
EACH = pytest.mark.parametrize("record", CATALOGUE.values(), ids=CATALOGUE.keys())


def watches(its: DepotPlan) -> tuple[ConfiguredAlarm, ...]:
    """What is watched at a depot that has not begun yet."""
    return alarms_at(site_of(its))


def shelter_changes(its: DepotPlan, temperatures: Iterable[float]) -> list[AlarmChanged]:
    """What becomes of the shelter's alarm, at one temperature every ten seconds."""
    engine = Engine({its.id: its})
    return [
        output
        for place, celsius in enumerate(temperatures)
        for output in engine.step(reading("shelter", place * 10, celsius))
        if isinstance(output, AlarmChanged) and output.alarm == "shelter-freezing"
    ]


def test_every_module_with_an_alarm_is_found() -> None:
    """A module put into the package is an alarm of the catalogue: no list to keep beside it."""
    modules = [
        import_module(f"{brineward.alarms.__name__}.{module.name}")
        for module in iter_modules(brineward.alarms.__path__)
    ]
    made = [its.ALARM for its in modules if hasattr(its, "ALARM")]
    assert all(isinstance(alarm, Alarm) for alarm in made)
    assert len(made) == len(ALARMS) == len(CATALOGUE)
    assert {id(alarm) for alarm in made} == {id(alarm) for alarm in ALARMS}
    named = {
        its.__name__.rsplit(".", 1)[-1].replace("_", "-")
        for its in modules
        if hasattr(its, "ALARM")
    }
    assert named == set(CATALOGUE)


def test_ids_and_places_are_unique_and_causes_exist() -> None:
    """Two alarms of one id would be one in the journal; a cause that is none would hold nothing
    back; nothing is held back under itself.
    """
    records = [alarm.record for alarm in ALARMS]
    assert len({record.id for record in records}) == len(records)
    assert len({record.place for record in records}) == len(records)
    assert [record.place for record in records] == sorted(record.place for record in records)
    for record in records:
        assert set(record.suppressed_by) <= set(CATALOGUE) - {record.id}


@EACH
@pytest.mark.parametrize("us", [True, False])
def test_each_quantity_is_written_in_either_units(record: AlarmRecord, us: bool) -> None:
    """No brace is left, and none breaks the catalogue or a text."""
    for text in asdict(record).values():
        if isinstance(text, str):
            written = in_units(text, us)
            assert "{" not in written
            assert "}" not in written


NOT_OUR_WORDS = (
    r"\b(over|stands?|told|tell|part|believable|believed|till|speaks?|by eye|judge by)\b"
)


@EACH
def test_each_is_in_plain_words(record: AlarmRecord) -> None:
    """One word for one thing: cleared, active, disagree, implausible, check on site."""
    for field in ("title", "cause", "consequence", "response", "text_response", "text_afterwards"):
        assert not re.search(NOT_OUR_WORDS, getattr(record, field)), field
    assert not re.search(NOT_OUR_WORDS, record.basis)


@EACH
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
    assert septets(record.text_response) <= 80
    assert septets(record.text_afterwards) <= 70


def test_what_chatters_has_a_delay() -> None:
    """Whatever is judged from readings has an on- and an off-delay; none is zero by accident."""
    at_once = {"texts-failing", "channel-unusable", "records-damaged", "probe-drifted"}
    at_once |= {"pump-left-running"}  # judged by the clock: its run's length doesn't chatter
    at_once |= {"readings-missing"}  # an outage is over once
    at_once |= {"rota-old"}  # two days are its delay
    at_once |= {"drill", "receipts-missing"}  # told by a command, and by a count of texts
    for record in CATALOGUE.values():
        if record.id not in at_once:
            assert record.on_delay_seconds > 0, record.id
            assert record.off_delay_seconds > 0, record.id


def test_a_numeric_limit_that_can_be_set_has_a_deadband() -> None:
    """A limit without a deadband would flap."""
    for record in CATALOGUE.values():
        if record.limit_quantity is not None:
            assert record.deadband > 0, record.id


def test_few_alarms_are_high() -> None:
    """ISA-18.2-2016 table 7 asks for about 5 % of high alarms raised; here, four kinds of all,
    and a drill, which calls as they do."""
    assert [r.id for r in CATALOGUE.values() if r.priority is Priority.HIGH] == [
        "closed-valve",
        "pump-dry",
        "uplift",
        "overflow-ahead",
        "shelter-freezing",
        "drill",
    ]


def test_every_alarm_of_the_catalogue_can_be_raised_at_a_full_depot() -> None:
    """What is printed is what is watched: no record without a condition, no condition without."""
    assert {watch.record.id for watch in watches(ALL_SENSORS)} == set(CATALOGUE)
    for watch in watches(ALL_SENSORS):
        assert watch.record is CATALOGUE[watch.record.id]


def test_each_watch_is_of_one_alarm_at_one_place() -> None:
    """No alarm is raised twice for one place."""
    keys = [(w.record.id, w.condition.source) for w in watches(ALL_SENSORS)]
    assert len(keys) == len(set(keys))


def test_a_change_says_what_the_catalogue_says() -> None:
    """Raised with the priority, the delay and the limit that are printed."""
    (raised,) = shelter_changes(plan(), [1.0] * 100)
    record = CATALOGUE["shelter-freezing"]
    assert raised.priority is record.priority
    assert raised.limit == record.limit
    assert raised.time == START + record.on_delay_seconds * SECOND


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
    found = {watch.record.id: watch for watch in watches(its)}
    assert "brine-weak" not in found
    freezing = found["shelter-freezing"]
    assert (freezing.on_delay_seconds, freezing.off_delay_seconds) == (10.0, 20.0)
    cold, warmer, warm = [5.9] * 20, [6.4] * 200, [6.6] * 200
    raised, cleared = shelter_changes(its, [*cold, *warmer, *warm])
    assert (raised.limit, raised.time) == (6.0, START + 10 * SECOND)
    assert cleared.state is AlarmState.RETURNED_UNACKNOWLEDGED
    assert cleared.time > START + 2200 * SECOND


def test_with_every_sensor_everything_is_covered() -> None:
    """The full example depot is blind for nothing; only a float that tops up can hide a leak."""
    found = coverage(ALL_SENSORS)
    assert {c.how for c in found} == {"covered", "indirect"}
    assert {c.alarm for c in found if c.how == "indirect"} == {"tank-leak"}


def test_without_sensors_everything_is_blind_and_says_what_would_help() -> None:
    """A depot with no sensor at all: each alarm about the plant is named as blind."""
    bare = replace(plan(), sensors={}, alarms={})
    found = coverage(bare)
    assert {c.how for c in found} == {"blind"}
    assert all(c.would_help for c in found)
    assert {c.alarm for c in found} == {
        "closed-valve",
        "overflow-ahead",
        "pump-left-running",
        "pump-dry",
        "mains-lost",
        "outlet-dead",
        "shelter-freezing",
        "heater-failed",
        "brine-freezing",
        "brine-weak",
        "brine-strong",
        "strength-unknown",
        "liquid-when-laid-up",
        "fill-weak",
        "tank-leak",
        "line-leak",
        "not-filling",
        "containment-wet",
        "uplift",
        "salt-low",
        "salt-half",
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
        (set(), "pump-dry", "indirect"),
        ({"level"}, "pump-dry", "blind"),
        ({"running"}, "pump-dry", "blind"),
        (set(), "outlet-dead", "blind"),
        (set(), "mains-lost", "blind"),
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
    watched = {(w.record.id, w.condition.source) for w in watches(its)}
    for covered in coverage(its):
        assert ((covered.alarm, covered.source) in watched) == (covered.how != "blind")


OF_A_HOPPER = ("overflow-ahead", "liquid-when-laid-up", "salt-low", "salt-half")
PLANT = ("overflow-ahead", "brine-weak", "brine-strong", "strength-unknown")


@pytest.mark.parametrize(
    ("config", "blind", "indirect"),
    [
        (
            "tern-hollow",
            {("mains-lost", "mains"), ("heater-failed", "heater")},
            {("tank-leak", "main")},
        ),
        (
            "pump-by-level",
            {
                ("shelter-freezing", "shelter"),
                ("heater-failed", "heater"),
                ("mains-lost", "mains"),
                ("outlet-dead", "pump"),
                ("line-leak", "pump"),
                ("containment-wet", "containment"),
                ("uplift", "containment"),
                ("liquid-when-laid-up", "containment"),
                *((alarm, "any hopper") for alarm in OF_A_HOPPER),
            },
            {
                ("tank-leak", "main"),
                ("closed-valve", "pump"),
                ("pump-dry", "pump"),
                ("brine-freezing", "main"),
            },
        ),
        (
            "smallest",
            {
                ("shelter-freezing", "shelter"),
                ("heater-failed", "heater"),
                ("mains-lost", "mains"),
                ("containment-wet", "containment"),
                ("uplift", "containment"),
                ("liquid-when-laid-up", "containment"),
                *((alarm, "any hopper") for alarm in OF_A_HOPPER),
                *(
                    (alarm, "any pump")
                    for alarm in (
                        "closed-valve",
                        "pump-dry",
                        "pump-left-running",
                        "outlet-dead",
                        "line-leak",
                    )
                ),
            },
            {("brine-freezing", "main"), ("tank-leak", "main")},
        ),
    ],
)
def test_the_examples_say_what_they_are_blind_for(
    config: str, blind: set[tuple[str, str]], indirect: set[tuple[str, str]]
) -> None:
    """The smallest useful depot is blind for its pump and shelter, and is not left to guess."""
    its = next(iter(load_settings(CONFIG / f"{config}.toml").depots.values()))
    found = coverage(its)
    assert {(c.alarm, c.source) for c in found if c.how == "blind"} == blind
    assert {(c.alarm, c.source) for c in found if c.how == "indirect"} == indirect
    covered = {(c.alarm, c.source) for c in found if c.how == "covered"}
    assert {(alarm, "main") for alarm in PLANT} <= covered
    assert {c.alarm for c in found} >= {"closed-valve", "shelter-freezing", *PLANT}
    assert all(c.would_help for c in found if c.how != "covered")


def test_what_blinds_a_grave_alarm_is_graver() -> None:
    """A level that falls silent may hide an overflow; the yard's thermometer hides nothing."""
    by_source = {
        w.condition.source: w.priority
        for w in watches(TERN_HOLLOW)
        if w.record.id == "sensor-silent"
    }
    assert by_source["main-level"] is Priority.MEDIUM
    assert by_source["outdoor-temperature"] is Priority.LOW


def kinds_of_places(its: DepotPlan) -> set[tuple[str, str]]:
    """Each line of `check` as an alarm and the kind of place that it is about."""
    kinds: dict[str, str] = {one.id: one.kind.value for one in its.vessels.values()}
    kinds |= dict.fromkeys(its.pumps, "pump")
    found = {(c.alarm, kinds.get(c.source, c.source.removeprefix("any "))) for c in coverage(its)}
    # What would float is named by its tank, or by the containment that the file has none of.
    return {(alarm, "tank" if alarm == "uplift" else place) for alarm, place in found}


@pytest.mark.parametrize("config", ["smallest", "pump-by-level"])
def test_a_small_depot_is_told_of_every_danger_at_every_place(config: str) -> None:
    """Each danger has its line in `check`, watched or blind, for each kind of place that a whole
    depot has: a file without a hopper is blind for what runs over there."""
    its = next(iter(load_settings(CONFIG / f"{config}.toml").depots.values()))
    assert {one.record.id for one in ALARMS if one.record.danger} <= {
        c.alarm for c in coverage(its)
    }
    assert kinds_of_places(TERN_HOLLOW) <= kinds_of_places(its)


def test_salt_is_helped_by_a_sensor_or_by_deliveries_that_are_recorded() -> None:
    """Both are named, with and without a hopper in the file, and with and without a tank's level;
    where the balance watches already, only a record of each delivery is wanting."""
    without = {n: s for n, s in TERN_HOLLOW.sensors.items() if s.measures is not Measure.SALT_LEVEL}
    by_level = replace(TERN_HOLLOW, sensors=without)
    no_level = {n: s for n, s in without.items() if s.measures is not Measure.LEVEL}
    for its, how in (
        (next(iter(load_settings(CONFIG / "smallest.toml").depots.values())), "blind"),
        (by_level, "indirect"),
        (replace(TERN_HOLLOW, sensors=no_level), "blind"),
    ):
        for covered in (c for c in coverage(its) if c.alarm in ("salt-low", "salt-half")):
            assert covered.how == how
            assert "salt-level sensor" in covered.would_help
            assert "each delivery recorded" in covered.would_help
            assert ("a level in the tank" in covered.would_help) is (how == "blind")
