"""`brineward replay`: several files, files with arrivals, and what is refused."""

import json
from datetime import datetime, timedelta
from pathlib import Path

import pytest

from brinesim.commands.main import main as simulate
from brinesim.scenario import load_scenario
from brinesim.simulation import Simulation
from brinesim.writing import write_files
from brineward.commands.main import main
from brineward.config.load import load_settings
from brineward.decode.recorded import Recording

CONFIG = Path(__file__).parents[2] / "config" / "tern-hollow.toml"


def replayed(capsys: pytest.CaptureFixture[str], *words: str) -> list[dict[str, object]]:
    capsys.readouterr()
    assert main(["replay", str(CONFIG), *words, "--json"]) == 0
    return [json.loads(line) for line in capsys.readouterr().out.splitlines()]


def test_each_of_several_files_is_a_run_of_its_own(
    tmp_path: Path, capsys: pytest.CaptureFixture[str]
) -> None:
    """Two files together say what each says alone, numbers begin again, and a line heads each."""
    files = [str(tmp_path / f"{seed}.csv") for seed in (1, 2)]
    for seed, file in zip((1, 2), files, strict=True):
        words = ["write", "closed-valve", "--seed", str(seed), "--duration", "3 h", "--quiet"]
        assert simulate([*words, "-o", file]) == 0
    alone = [replayed(capsys, file) for file in files]
    assert all(changes[0]["number"] == 1 for changes in alone)
    together = replayed(capsys, *files)
    assert together == [{"readings": files[0]}, *alone[0], {"readings": files[1]}, *alone[1]]


def test_arrivals_in_the_file_show_a_clock_that_is_ahead(
    tmp_path: Path, capsys: pytest.CaptureFixture[str]
) -> None:
    """With the fifth column a gateway 90 minutes ahead is found; without it, that is a silence."""
    said = []
    for name, received in (("with.csv", True), ("without.csv", False)):
        simulation = Simulation(load_scenario("clock-wrong", {"duration": "3 h"}))
        write_files(simulation, tmp_path / name, progress=False, received=received)
        changes = replayed(capsys, str(tmp_path / name))
        said.append([c["alarm"] for c in changes if c["state"] == "unacknowledged"])
    assert said == [["clock-wrong"], ["depot-silent"]]


def test_what_a_gateway_held_back_was_silence_until_it_came(
    tmp_path: Path, capsys: pytest.CaptureFixture[str]
) -> None:
    """An hour of readings arrives at once, in the order of its stamps: the silence is announced
    when the service would have, and not where everything came in time."""
    begins = datetime.fromisoformat("2026-01-15T00:00:00+00:00")
    raised = []
    for name, until in (("held.csv", 80), ("in-time.csv", 20)):
        rows = ["time,depot,sensor,value,received"]
        for ten in range(6 * 90):
            at = begins + timedelta(seconds=10 * ten)
            held = 20 * 6 <= ten < until * 6
            came = begins + timedelta(minutes=until) if held else at + timedelta(seconds=1)
            stamps = f"{at:%Y-%m-%dT%H:%M:%SZ}", f"{came:%Y-%m-%dT%H:%M:%SZ}"
            rows.append(f"{stamps[0]},tern-hollow,main-level,2.1,{stamps[1]}")
        (tmp_path / name).write_text("\n".join([*rows, ""]))
        changes = replayed(capsys, str(tmp_path / name))
        raised.append([str(c["time"])[11:16] for c in changes if c["alarm"] == "depot-silent"])
    assert raised[0][:1] == ["00:21"]
    assert raised[1] == []


def test_time_passes_by_the_minute_but_not_over_more_than_a_day(tmp_path: Path) -> None:
    """Three minutes without an arrival are two looks; what lasts longer than a day was no watch."""
    readings = tmp_path / "readings.csv"
    stamps = ("15T00:00:00", "15T00:00:30", "15T00:03:30", "16T00:03:31")
    rows = [f"2026-01-{one}Z,tern-hollow,main-level,2.1,2026-01-{one}Z" for one in stamps]
    readings.write_text("\n".join(["time,depot,sensor,value,received", *rows, ""]))
    played = Recording(readings, load_settings(CONFIG).sources)
    names = [type(one).__name__ for one in played]
    assert names == ["Reading", "Reading", "Tick", "Tick", "Reading", "Reading"]


def test_a_bad_arrival_is_told_and_the_run_goes_on(
    tmp_path: Path, capsys: pytest.CaptureFixture[str]
) -> None:
    """An arrival that is not a time, or is missing, costs its own line alone."""
    readings = tmp_path / "readings.csv"
    readings.write_text(
        "time,depot,sensor,value,received\n"
        "2026-01-15T00:00:00Z,tern-hollow,main-level,2.1,2026-01-15T00:00:01Z\n"
        "2026-01-15T00:00:10Z,tern-hollow,main-level,2.1,soon\n"
        "2026-01-15T00:00:20Z,tern-hollow,main-level,2.1\n"
        "2026-01-15T00:00:30Z,tern-hollow,main-level,2.1,2026-01-15T00:00:31Z\n"
    )
    assert main(["replay", str(CONFIG), str(readings)]) == 1
    told = capsys.readouterr()
    assert "2 readings replayed." in told.out
    assert "line 3" in told.err
    assert "line 4" in told.err
    last = told.err.splitlines()[-1]
    assert last.startswith(f"{readings}: 2 lines of 4 could not be read; the first: line 3: ")
    assert "'soon' is not a time" in last
    assert "time,depot,sensor,value,received" in told.err


def test_without_a_config_the_installed_one_judges(
    tmp_path: Path, capsys: pytest.CaptureFixture[str], monkeypatch: pytest.MonkeyPatch
) -> None:
    """What ends in .toml is the config; with readings alone it is the one on this machine."""
    monkeypatch.setattr("brineward.commands.config_file.INSTALLED_CONFIG", CONFIG)
    readings = tmp_path / "readings.csv"
    readings.write_text(
        "time,depot,sensor,value\n2026-01-15T00:00:00Z,tern-hollow,main-level,2.1\n"
    )
    assert main(["replay", str(readings)]) == 0
    assert "1 readings replayed." in capsys.readouterr().out
    assert main(["replay", str(CONFIG)]) == 2
    assert "no readings file" in capsys.readouterr().err


def test_acts_go_with_one_file(tmp_path: Path, capsys: pytest.CaptureFixture[str]) -> None:
    """Whose acts they are could not be told for two files."""
    words = ["replay", str(CONFIG), "a.csv", "b.csv", "--acts", str(tmp_path / "acts.jsonl")]
    assert main(words) == 2
    assert "--acts goes with one readings file" in capsys.readouterr().err


def test_somebody_takes_what_they_are_texted(
    tmp_path: Path, capsys: pytest.CaptureFixture[str]
) -> None:
    """Five minutes after the first text the alarm is theirs, and nobody is called after that."""
    readings = tmp_path / "cold.csv"
    words = ["write", "heater-failed", "--seed", "1", "--duration", "8 h", "--quiet"]
    assert simulate([*words, "-o", str(readings)]) == 0
    alone = replayed(capsys, str(readings), "--texts")
    taken = replayed(capsys, str(readings), "--texts", "--taken-after", "5 min")
    raised = next(c for c in taken if c.get("alarm") == "shelter-freezing")
    took = next(c for c in taken if c.get("state") == "acknowledged")
    at, then = (datetime.fromisoformat(str(c["time"])) for c in (raised, took))
    assert 300 <= (then - at).total_seconds() <= 310
    first = next(c for c in taken if c.get("kind") == "raised")
    assert (first["person"], took["by"]) == ("yard", "Yard lead")
    calls = [[c for c in said if c.get("kind") == "raised"] for said in (alone, taken)]
    assert len(calls[0]) > len(calls[1]) == 1


def test_nobody_takes_what_is_compared(tmp_path: Path, capsys: pytest.CaptureFixture[str]) -> None:
    """With --change other occurrences have other numbers, and a time that is none is refused."""
    words = ["replay", str(CONFIG), str(tmp_path / "a.csv"), "--taken-after"]
    change = "shelter-freezing.limit=2 degC"
    assert main([*words, "5 min", "--change", change]) == 2
    assert "--taken-after goes without --change" in capsys.readouterr().err
    assert main([*words, "soon"]) == 2
    assert "--taken-after: 'soon'" in capsys.readouterr().err
