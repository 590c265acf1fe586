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


def test_an_unknown_fault_is_refused(tmp_path: Path) -> None:
    """A fault that there is not is refused with the names of those that there are."""
    file = tmp_path / "wrong.toml"
    file.write_text(
        'title = "x"\nbuilds_on = "fault-day"\n[[faults]]\nkind = "gremlin"\nat = "1 h"\n'
    )
    with pytest.raises(ScenarioError, match=r"gremlin.*heater-failed"):
        Simulation(load_scenario(str(file)))


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
