"""Scenarios: small files that build on one another, every mistake told, every one playable."""

import itertools
from pathlib import Path

import pytest

from brinesim.durations import (
    milliseconds_from_rfc3339,
    rfc3339_from_milliseconds,
    seconds_from_text,
)
from brinesim.fault_kinds import KINDS
from brinesim.scenario import ScenarioError, load_scenario, scenario_names
from brinesim.simulation import Simulation

SHORT = 'title = "x"\nbuilds_on = "fault-day"\nduration = "20 min"\n'
_SET = '[[acts]]\nat = "1 min"\nact = "set"\nset = { %s }'
_FAULT = '[[faults]]\nat = "1 min"\n%s'
_RUN = 'title = "x"\nbuilds_on = "fault-day"\nstart = "%s"\nduration = "%s"'


def test_there_are_at_least_thirty_with_a_title_each() -> None:
    """Thirty or more scenarios come with the package, each with a title of its own."""
    titles = [load_scenario(name).title for name in scenario_names()]
    assert len(titles) >= 30
    assert len(set(titles)) == len(titles)


def test_every_kind_of_fault_has_a_scenario() -> None:
    """No fault that the simulator knows is left without a scenario that shows it."""
    shown = {f.kind for name in scenario_names() for f in load_scenario(name).faults}
    assert set(KINDS) - shown == set()


@pytest.mark.parametrize("name", scenario_names())
def test_every_scenario_plays_its_first_hours(name: str) -> None:
    """Each gives readings of every fitted sensor, and no value that is not a number."""
    run = Simulation(load_scenario(name))
    heard: set[int] = set()
    for chunk in itertools.islice(run.chunks(), 2):
        heard |= set(chunk.arrivals.sensor.tolist())
        assert (chunk.arrivals.values == chunk.arrivals.values).all()
    assert len(heard) == len(run.sensors)


def test_a_scenario_builds_on_another(tmp_path: Path) -> None:
    """Tables are laid over key by key, events are added to those below, the name is its own."""
    lower, upper = tmp_path / "lower.toml", tmp_path / "upper.toml"
    lower.write_text(
        'title = "lower"\nbuilds_on = "fault-day"\n[depot]\nlevel_m = 1.5\nstrength = 0.21\n'
        '[[faults]]\nkind = "heater-failed"\nat = "1 h"\n'
    )
    upper.write_text(
        f'title = "upper"\nbuilds_on = "{lower}"\n[depot]\nlevel_m = 1.7\n'
        '[[faults]]\nkind = "air-lock"\nat = "2 h"\nlasts = "5 min"\n'
        "[sensors.main-level]\nnoise = 0.5\n"
    )
    scenario = load_scenario(str(upper))
    assert (scenario.name, scenario.title) == ("upper", "upper")
    assert (scenario.depot.level_m, scenario.depot.strength) == (1.7, 0.21)
    assert [f.kind for f in scenario.faults] == ["heater-failed", "air-lock"]
    assert scenario.sensors["main-level"].noise == 0.5
    assert scenario.sensors["main-level"].bits == 14, "what is not named stays"
    assert len(scenario.loads) == len(load_scenario("fault-day").loads)


@pytest.mark.parametrize(
    ("text", "told"),
    [
        ('title = "x"\nstart = "2026-01-01T00:00:00"\nduration = "1 h"', "offset from UTC"),
        ('title = "x"\nstart = "2026-01-01T00:00:00Z"\nduration = "1 fortnight"', "fortnight"),
        ('title = "x"\nstart = "2026-01-01T00:00:00Z"\nduration = 60', "with its unit"),
        ('title = "x"\nbuilds_on = "no-such"', "no-such"),
        ('title = "x"\nbuilds_on = "fault-day"\n[depot]\nlevle_m = 1', "depot.levle_m"),
        ('title = "x"\nbuilds_on = "fault-day"\n[[loads]]\nat = "1 h"', "loads.1.amount_m3"),
        ("title = ", "not a TOML file"),
        (f"seed = {'9' * 5000}", "not a TOML file"),
        (f"a = {'[' * 3000}{']' * 3000}", "not a TOML file"),
        ('title = "x"\nbuilds_on = 5', "builds_on: expected the name"),
        (SHORT + "sensors = 3", "sensors: Input should be a valid dictionary"),
        (f"faults = 3\n{SHORT}", "faults: Input should be"),
        (SHORT + "seed = -1", "seed: .*greater than or equal to 0"),
        (SHORT + "rough = inf", "rough: .*finite"),
        (SHORT + "[weather]\nfront_hours = 0.0", "weather.front_hours"),
        (SHORT + "[depot]\nlevel_m = nan", "depot.level_m"),
        (SHORT + "[depot]\nweir_m = 0.0", "depot.weir_m"),
        (SHORT + '[depot]\nid = "a,b#"', "depot.id"),
        (SHORT + "[depot.containment]\nlength_m = 1.0", "no larger than the two tanks"),
        (SHORT + '[depot.main]\nshape = "lying cylinder"\nbrim_m = 9.0', "depot.main: brim_m"),
        (SHORT + '[sensors.main-level]\nevery = "0 s"', "sensors.main-level.every"),
        (SHORT + '[sensors.main-level]\ncolumn = "nope"', "no 'nope'; there are: main_level"),
        (SHORT + "[sensors.main-level]\nlow = 9.0", "its range ends at 2.6"),
        (SHORT + "[people]\ntruck_sizes_m3 = []", "people.truck_sizes_m3"),
        (SHORT + "[people]\nloads_per_day = 1e30", "people.loads_per_day"),
        (SHORT + '[[loads]]\nat = "-5 min"\namount_m3 = 1.0', "loads.1.at"),
        (SHORT + '[[acts]]\nat = "1 min"\nact = "mode"', "acts.1: mode: expected"),
        (SHORT + _SET % "nonsense = 1", "acts.1.set.nonsense"),
        (SHORT + _SET % 'blend = "much"', "acts.1.set.blend"),
        (SHORT + _SET % "main_drain_m3_per_s = -1.0", "acts.1.set.main_drain_m3_per_s"),
        (SHORT + _SET % 'hose_to = "moon"', "acts.1.set.hose_to"),
        (SHORT + _FAULT % 'kind = "gremlin"', "no fault 'gremlin'; .*heater-failed"),
        (SHORT + _FAULT % 'kind = "sensor-silent"\nsensor = "nose"', "no sensor 'nose'"),
        (SHORT + _FAULT % 'kind = "line-leak"\nsize = 1.5', "faults.0.size: 1.5 can't be"),
        (SHORT + _FAULT % 'kind = "line-leak"\nsize = 0.9\nspread = 0.5', "0.9 can't be"),
        (_RUN % ("yesterday", "1 h"), "start: Invalid isoformat"),
        (_RUN % ("9999-12-31T23:00:00Z", "1 h"), "1970 and 2200"),
        (_RUN % ("2026-01-01T00:00:00Z", "-1 h"), "duration: .*greater than 0"),
        (_RUN % ("2026-01-01T00:00:00Z", "x h"), "no duration"),
        (_RUN % ("2026-01-01T00:00:00Z", "inf h"), "no duration that ends"),
        (_RUN % ("2026-01-01T00:00:00Z", "1e12 d"), "duration: .*less than"),
    ],
)
def test_a_mistake_is_told_with_its_place(text: str, told: str, tmp_path: Path) -> None:
    """A wrong scenario is refused with where it is wrong, before anything runs."""
    file = tmp_path / "wrong.toml"
    file.write_text(text)
    with pytest.raises(ScenarioError, match=told):
        load_scenario(str(file))


def test_all_mistakes_are_told_at_once(tmp_path: Path) -> None:
    """Two mistakes in a file are both in the one refusal."""
    file = tmp_path / "wrong.toml"
    file.write_text('title = "x"\nbuilds_on = "fault-day"\nspeed = 3\n[weather]\nsnow = 1\n')
    with pytest.raises(ScenarioError) as refused:
        load_scenario(str(file))
    assert "speed" in str(refused.value)
    assert "weather.snow" in str(refused.value)


def test_building_in_a_circle_is_refused(tmp_path: Path) -> None:
    """Two scenarios that build on each other are told so, and don't run for ever."""
    one, two = tmp_path / "one.toml", tmp_path / "two.toml"
    one.write_text(f'title = "1"\nbuilds_on = "{two}"\n')
    two.write_text(f'title = "2"\nbuilds_on = "{one}"\n')
    with pytest.raises(ScenarioError, match="circle"):
        load_scenario(str(one))


def test_a_file_that_is_no_text_is_refused(tmp_path: Path) -> None:
    """Bytes that are no UTF-8 are told so."""
    file = tmp_path / "wrong.toml"
    file.write_bytes(b"\xff\xfe\x00title")
    with pytest.raises(ScenarioError, match="not a text in UTF-8"):
        load_scenario(str(file))


def test_a_sensor_for_a_fault_must_be_fitted() -> None:
    """One is drawn of those that are there; where none is that can be stuck, that is told."""
    scenario = load_scenario("sensor-stuck")
    switches = {name: {"fitted": plan.on_change} for name, plan in scenario.sensors.items()}
    with pytest.raises(ScenarioError, match="sensor-stuck: none of the sensors is fitted"):
        Simulation(load_scenario("sensor-stuck", {"sensors": switches}))


def test_a_depot_that_can_no_longer_be_computed_is_told() -> None:
    """A shelter of air alone that changes faster than any step can follow ends in a sentence."""
    thin = {"depot": {"shelter_heat_capacity_j_per_k": 1.0}, "duration": "6 h"}
    with pytest.raises(ScenarioError, match="can no longer be computed"):
        list(Simulation(load_scenario("fault-day", thin)).chunks())


@pytest.mark.parametrize(
    ("text", "seconds"),
    [("90 s", 90), ("20 min", 1200), ("1.5 h", 5400), ("3 d 2 h", 266_400), ("200 ms", 0.2)],
)
def test_durations_are_read(text: str, seconds: float) -> None:
    """A number with its unit, or a sum of such."""
    assert seconds_from_text(text) == pytest.approx(seconds)


def test_moments_go_both_ways() -> None:
    """RFC 3339 section 5.8's example is read as its instant, and an instant is written in UTC."""
    assert milliseconds_from_rfc3339("1985-04-12T23:20:50.52Z") == 482_196_050_520
    assert rfc3339_from_milliseconds(482_196_050_520) == "1985-04-12T23:20:50.520Z"
    assert milliseconds_from_rfc3339("1996-12-19T16:39:57-08:00") == 851_042_397_000
    assert rfc3339_from_milliseconds(851_042_397_000) == "1996-12-20T00:39:57Z"
