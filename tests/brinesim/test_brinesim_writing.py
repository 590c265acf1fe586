"""Files: readings, acts and truth, the same to the byte for the same seed."""

import csv
import json
import re
import sys
from itertools import pairwise
from pathlib import Path

import pytest

from brinesim.commands.main import main
from brinesim.scenario import load_scenario


def written(folder: Path, *words: str) -> Path:
    target = folder / "run.csv"
    folder.mkdir(exist_ok=True)
    assert main(["write", *words, "-o", str(target), "--quiet"]) == 0
    return target


def test_the_same_seed_gives_the_same_bytes(tmp_path: Path) -> None:
    """Readings, acts and truth repeat to the byte; another seed differs in all that is measured."""
    one = written(tmp_path / "a", "winter-night")
    two = written(tmp_path / "b", "winter-night")
    other = written(tmp_path / "c", "winter-night", "--seed", "8")
    for ending in (".csv", ".acts.jsonl", ".truth.json"):
        first = (one.parent / f"run{ending}").read_bytes()
        assert first == (two.parent / f"run{ending}").read_bytes()
        assert first != (other.parent / f"run{ending}").read_bytes()


def test_readings_are_in_their_units_and_ranges(tmp_path: Path) -> None:
    """Every line has four fields, UTC times that rise, known sensors, values within the range."""
    file = written(tmp_path, "fault-day", "--duration", "2 h")
    with file.open(newline="") as lines:
        rows = list(csv.DictReader(lines))
    assert list(rows[0]) == ["time", "depot", "sensor", "value"]
    assert {r["depot"] for r in rows} == {"tern-hollow"}
    assert len({r["sensor"] for r in rows}) == 14
    assert all(r["time"].endswith("Z") and r["time"].startswith("2026-01-22T0") for r in rows)
    values = {
        name: [float(r["value"]) for r in rows if r["sensor"] == name]
        for name in ("main-level", "main-conductivity", "pump-pressure", "hose-flow")
    }
    assert 1.7 < min(values["main-level"]) < max(values["main-level"]) < 2.3
    assert 140 < min(values["main-conductivity"]) < max(values["main-conductivity"]) < 190
    assert max(values["pump-pressure"]) < 350
    assert 3.4 < max(values["hose-flow"]) < 3.9
    assert {r["value"] for r in rows if r["sensor"] == "pump-running"} == {"0", "1"}
    # A line's time is the sensor's; arrivals differ by a fraction of a second.
    stamps = [r["time"] for r in rows]
    assert sum(a > b for a, b in pairwise(stamps)) < 0.04 * len(stamps)


@pytest.mark.parametrize("name", ["gateway-buffering", "clock-wrong", "bad-line"])
def test_what_arrives_otherwise_is_written_with_its_arrivals(name: str, tmp_path: Path) -> None:
    """Else a replay could not tell a gap or a wrong clock from readings that came in time."""
    file = written(tmp_path, name, "--duration", "10 min")
    assert file.read_text().splitlines()[0] == "time,depot,sensor,value,received"


def test_acts_and_truth_stand_beside_the_readings(tmp_path: Path) -> None:
    """The acts are a JSON object a line; the truth has faults, slips and the true state."""
    file = written(tmp_path, "winter-night")
    acts = [json.loads(x) for x in (tmp_path / "run.acts.jsonl").read_text().splitlines()]
    assert [a["act"] for a in acts] == ["test", "test"]
    assert set(acts[0]) == {"time", "depot", "act", "fields"}
    truth = json.loads((tmp_path / "run.truth.json").read_text())
    assert len(truth["faults"]) == 4
    series = truth["series"]
    assert series["seconds"] == [300.0 * i for i in range(len(series["seconds"]))]
    assert load_scenario("winter-night").duration - series["seconds"][-1] < 300
    assert all(len(values) == len(series["seconds"]) for values in series.values())
    assert file.stat().st_size > 1_000_000


def test_a_duration_cuts_the_run(tmp_path: Path) -> None:
    """`--duration` ends the run early; a wrong one is refused in a sentence."""
    file = written(tmp_path, "quiet-week", "--duration", "30 min")
    assert file.read_text().splitlines()[-1] < "2026-01-19T06:30:01"
    assert main(["write", "quiet-week", "--duration", "soon", "-o", str(file), "--quiet"]) == 2


def test_a_mistake_is_a_sentence_and_an_exit_code(capsys: pytest.CaptureFixture[str]) -> None:
    """An unknown scenario names those that there are; nothing is raised at the operator."""
    assert main(["write", "no-such-night", "-o", "x.csv"]) == 2
    said = capsys.readouterr().err
    assert said.startswith("brinesim: there is no scenario 'no-such-night'")
    assert "winter-night" in said
    assert "Traceback" not in said


@pytest.mark.parametrize(
    ("words", "told"),
    [
        (["write", "fault-day", "-o", "x.csv", "--seed", "-4"], "--seed: '-4': expected a whole"),
        (["run", "fault-day", "--port", "999999"], "--port: '999999': expected .*1 to 65535"),
        (["run", "fault-day", "--speed", "nan"], "--speed: 'nan': expected a number, 0 or more"),
        (["run", "fault-day", "--topic", "{foo}/x"], "--topic: .*expected a topic"),
        (["run", "fault-day", "--topic", "brine/#"], "--topic: .*expected a topic"),
        (["run", "fault-day", "--truth", "no-such-folder/truth.json"], "--truth: .*a folder that"),
        (["score", "x.toml", "--processes", "0"], "--processes: '0'"),
        (["score", "x.toml", "--seeds", "-3"], "--seeds: '-3'"),
        (["records", "x.toml", "--days", "0"], "--days: '0'"),
        (["score", "x.toml", "--json", "no-such-folder/card.json"], "--json: .*a folder that"),
    ],
)
def test_a_wrong_word_is_told_before_anything_runs(
    words: list[str], told: str, capsys: pytest.CaptureFixture[str]
) -> None:
    """Each number and topic of the command line is read once, and refused with what is expected."""
    with pytest.raises(SystemExit) as refused:
        main(words)
    assert refused.value.code == 2
    assert re.search(told, capsys.readouterr().err)


def test_the_list_names_every_scenario(capsys: pytest.CaptureFixture[str]) -> None:
    """`brinesim list` shows names and titles."""
    assert main(["list"]) == 0
    said = capsys.readouterr().out
    assert "winter-night                     A winter night with four faults" in said


def test_a_missing_library_is_told_in_a_sentence(
    monkeypatch: pytest.MonkeyPatch, capsys: pytest.CaptureFixture[str]
) -> None:
    """Installed without the laptop's libraries, the command says which one, and how to get it."""
    for module in [name for name in sys.modules if name.startswith("brinesim.")]:
        monkeypatch.delitem(sys.modules, module)
    monkeypatch.delattr("brinesim.commands.line", raising=False)
    monkeypatch.setitem(sys.modules, "scipy.interpolate", None)
    assert main(["list"]) == 2
    said = capsys.readouterr().err
    assert "scipy" in said
    assert said.endswith(f"{sys.executable} -m pip install '.[laptop]'\n")
