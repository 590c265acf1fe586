"""`brinesim score`: what is run, in parts or together, and what is refused."""

import json
import sys
from pathlib import Path

import pytest

from brinesim.commands.main import main
from brinesim.scenario import ScenarioError
from brinesim.scoring.kept_runs import code_state
from brinesim.scoring.runs import (
    FAULT_FREE,
    Job,
    WatchmanError,
    jobs_for,
    printed_by,
    run_job,
    scored_scenarios,
    watched_by,
)

CONFIG = Path(__file__).parents[2] / "config" / "tern-hollow.toml"


def test_the_sensors_scored_are_those_of_the_config(tmp_path: Path) -> None:
    """The config's first depot and its sensors are taken; a file without one is refused."""
    watched = watched_by(CONFIG)
    assert watched.depot == "tern-hollow"
    assert len(watched.sensors) == 14
    small = watched_by(CONFIG.with_name("smallest.toml"))
    assert small.sensors == ("main-level", "main-conductivity", "main-temperature")
    with pytest.raises(WatchmanError, match="no depot"):
        watched_by(CONFIG, "elsewhere")
    with pytest.raises(WatchmanError, match=r"none\.toml"):
        watched_by(tmp_path / "none.toml")


def test_every_single_fault_with_an_alarm_is_scored() -> None:
    """The default list has every fault that a recording can show, and weeks without one."""
    names = scored_scenarios()
    assert {"weak-brine", "runaway-fill", "heater-failed", "closed-valve", "quiet-week"} <= set(
        names
    )
    assert "clock-wrong" in names
    assert set(FAULT_FREE) <= set(names)
    assert "winter-night" not in names, "more than one fault"


def test_a_score_is_the_same_twice(tmp_path: Path, capsys: pytest.CaptureFixture[str]) -> None:
    """Two seeds of a failed heater, through the real replay: caught, and the same numbers again."""
    told = []
    for name in ("one", "two"):
        card, picture = tmp_path / f"{name}.json", tmp_path / f"{name}.png"
        words = ["score", str(CONFIG), "heater-failed", "--seeds", "2", "--json", str(card)]
        assert main([*words, "--plot", str(picture)]) == 0
        told.append((card.read_text(), capsys.readouterr().out))
        assert picture.read_bytes()[:8] == b"\x89PNG\r\n\x1a\n"
    assert told[0] == told[1]
    values = json.loads(told[0][0])
    assert values["runs"] == 2
    assert values["rows"][0]["caught"] == 2
    assert values["rows"][0]["before_harm"] == 2


def test_a_score_can_be_made_in_parts(tmp_path: Path, capsys: pytest.CaptureFixture[str]) -> None:
    """Two seeds, then one more added to the kept card, are the score of three at once."""
    first, rest, whole = (tmp_path / f"{name}.json" for name in ("first", "rest", "whole"))
    words = ["score", str(CONFIG), "closed-valve"]
    assert main([*words, "--seeds", "2", "--json", str(first)]) == 0
    more = ["--seeds", "1", "--first-seed", "3", "--add", str(first), "--json", str(rest)]
    assert main([*words, *more]) == 0
    assert main([*words, "--seeds", "3", "--json", str(whole)]) == 0
    assert json.loads(rest.read_text()) == json.loads(whole.read_text())
    capsys.readouterr()
    small = ["score", str(CONFIG.with_name("smallest.toml")), "closed-valve", "--seeds", "0"]
    assert main([*small, "--add", str(first)]) == 2
    assert "not of smallest.toml" in capsys.readouterr().err
    assert main([*words, "--seeds", "0", "--rough", "--add", str(first)]) == 2
    assert "is not rough" in capsys.readouterr().err
    first.write_text('{"config": 1}')
    assert main([*words, "--seeds", "0", "--add", str(first)]) == 2
    assert "no card of a score: config" in capsys.readouterr().err


def test_a_score_that_was_stopped_goes_on(
    tmp_path: Path, capsys: pytest.CaptureFixture[str]
) -> None:
    """What a file of runs holds is not played again, but for a line that was half written; each run
    says of which state of the code it is, and the whole is the score of all at once.
    """
    runs, part, whole = (tmp_path / name for name in ("runs.jsonl", "part.json", "whole.json"))
    words = ["score", str(CONFIG), "closed-valve"]
    assert main([*words, "--seeds", "2", "--runs", str(runs)]) == 0
    heading, first, second = runs.read_text().splitlines()
    older = json.dumps(json.loads(first) | {"code": "older"})
    runs.write_text(f"{heading}\n{older}\n{second[:100]}")
    assert main([*words, "--seeds", "3", "--runs", str(runs), "--json", str(part)]) == 0
    assert main([*words, "--seeds", "3", "--json", str(whole)]) == 0
    assert [json.loads(line)["seed"] for line in runs.read_text().splitlines()[1:]] == [1, 2, 3]
    got, expected = json.loads(part.read_text()), json.loads(whole.read_text())
    assert got["code"] == {"older": 1, code_state(): 2}
    assert "older 1" in capsys.readouterr().out
    assert got["verdicts"][0].pop("code") == "older"
    del got["code"], expected["code"], expected["verdicts"][0]["code"]
    assert got == expected


def test_only_runs_that_belong_together_are_summed_up(
    tmp_path: Path, capsys: pytest.CaptureFixture[str]
) -> None:
    """A run that two files hold is refused, as are runs of another config and a damaged line."""
    runs, card = tmp_path / "runs.jsonl", tmp_path / "card.json"
    words = ["score", str(CONFIG), "closed-valve", "--seeds", "1"]
    assert main([*words, "--runs", str(runs), "--json", str(card)]) == 0
    assert main([*words, "--runs", str(runs), "--add", str(card)]) == 2
    assert "closed-valve, seed 1, is in" in capsys.readouterr().err
    small = ["score", str(CONFIG.with_name("smallest.toml")), "closed-valve", "--seeds", "0"]
    assert main([*small, "--runs", str(runs)]) == 2
    assert "not of smallest.toml" in capsys.readouterr().err
    kept = runs.read_text()
    runs.write_text(kept.replace('"seed": 1', '"seed": "one"', 1))
    assert main([*words, "--runs", str(runs)]) == 2
    assert "runs.jsonl, line 2: seed" in capsys.readouterr().err
    runs.write_text("[1]\n")
    assert main([*words, "--runs", str(runs)]) == 2
    assert "is no file of runs" in capsys.readouterr().err
    assert (
        main([*words, "--rough", "--runs", str(runs.with_name("new.jsonl")), "--seeds", "0"]) == 0
    )
    assert main([*words, "--runs", str(runs.with_name("new.jsonl"))]) == 2
    assert "is rough" in capsys.readouterr().err


def test_a_file_that_is_no_file_of_runs_is_left_as_it_was(
    tmp_path: Path, capsys: pytest.CaptureFixture[str]
) -> None:
    """One that was named by mistake loses nothing, whether or not its last line has an end."""
    words = ["score", str(CONFIG), "closed-valve", "--seeds", "0", "--runs"]
    for text in ("a note of one line", '{"a": 1}\n{"b": 2}', '{"config": "tern'):
        notes = tmp_path / "notes.txt"
        notes.write_text(text)
        assert main([*words, str(notes)]) == 2
        assert "is no file of runs" in capsys.readouterr().err
        assert notes.read_text() == text


def test_runs_of_two_depots_of_one_config_are_kept_apart(
    tmp_path: Path, capsys: pytest.CaptureFixture[str]
) -> None:
    """Alike as their sensors are, their limits may differ; a file that doesn't say is taken."""
    config, runs = tmp_path / "two.toml", tmp_path / "runs.jsonl"
    config.write_text("[depots.a.sensors.level]\n[depots.b.sensors.level]\n")
    words = ["score", str(config), "air-lock", "--seeds", "0", "--runs", str(runs), "--depot"]
    assert main([*words, "a"]) == 0
    assert main([*words, "b"]) == 2
    assert "is of the depot a, not of b" in capsys.readouterr().err
    heading = json.loads(runs.read_text())
    del heading["depot"]
    runs.write_text(json.dumps(heading) + "\n")
    assert main([*words, "b"]) == 0


def test_a_run_counts_once_however_often_it_is_named(tmp_path: Path) -> None:
    """A scenario that is named twice is played once; two files of one name are refused."""
    numbers = {"seeds": range(1, 2), "quiet_seeds": range(1, 2)}
    watched = watched_by(CONFIG)
    twice = jobs_for(["air-lock", "air-lock"], watched, rough=False, **numbers)
    assert [(job.scenario, job.seeds) for job in twice] == [("air-lock", (1,))]
    files = []
    for folder in ("a", "b"):
        (tmp_path / folder).mkdir()
        file = tmp_path / folder / "mine.toml"
        file.write_text('title = "x"\nbuilds_on = "air-lock"\n')
        files.append(str(file))
    with pytest.raises(ScenarioError, match="both named 'mine'"):
        jobs_for(files, watched, rough=False, **numbers)


@pytest.mark.parametrize(
    ("text", "told"),
    [
        (b"\xff\xfe", "decode"),
        (b"depots = 3", "depots is no table"),
        (b"depots.a = 3", "depots.a is no depot"),
        (b"depots.a.sensors = 3", "depots.a is no depot"),
    ],
)
def test_a_config_that_is_none_is_told(text: bytes, told: str, tmp_path: Path) -> None:
    """Before anything is played."""
    file = tmp_path / "wrong.toml"
    file.write_bytes(text)
    with pytest.raises(WatchmanError, match=told):
        watched_by(file)


def test_runs_replayed_together_are_judged_as_if_alone() -> None:
    """One start of the program for three runs gives the verdicts of three starts."""
    watched = watched_by(CONFIG)
    jobs = jobs_for(["clock-wrong"], watched, seeds=range(1, 4), quiet_seeds=range(0), rough=False)
    assert [job.seeds for job in jobs] == [(1, 2, 3)]
    together = run_job(jobs[0])
    alone = [
        run_job(Job(scenario="clock-wrong", seeds=(seed,), watched=watched, rough=False))[0]
        for seed in (1, 2, 3)
    ]
    assert together == alone
    assert all(run.catches[0].caught for run in together), "its arrivals tell that a clock is wrong"


def test_quiet_weeks_have_a_number_of_their_own() -> None:
    """`quiet_seeds` is how many of each scenario without a fault there are, `seeds` of the rest."""
    jobs = jobs_for(
        ["closed-valve", "quiet-week"],
        watched_by(CONFIG),
        seeds=range(1, 26),
        quiet_seeds=range(1, 3),
        rough=False,
    )
    seeds = {
        name: [s for j in jobs if j.scenario == name for s in j.seeds]
        for name in ("closed-valve", "quiet-week")
    }
    assert seeds["closed-valve"] == list(range(1, 26))
    assert seeds["quiet-week"] == [1, 2]


def test_a_watchman_that_fails_is_told(tmp_path: Path, capsys: pytest.CaptureFixture[str]) -> None:
    """A config that the watchman refuses ends the score with its own words, not with a score."""
    wrong = tmp_path / "wrong.toml"
    wrong.write_text('[depots.tern-hollow]\nname = "x"\n[depots.tern-hollow.sensors.main-level]\n')
    assert main(["score", str(wrong), "air-lock", "--seeds", "1"]) == 2
    assert "ended with" in capsys.readouterr().err


def test_a_watchman_that_breaks_off_is_told() -> None:
    """It ends with 1, as where an alarm is active: what it left out is not scored as missed."""
    with pytest.raises(WatchmanError, match="broke in the middle"):
        printed_by([sys.executable, "-c", "print('{}'); raise ValueError('broke in the middle')"])
    assert printed_by([sys.executable, "-c", "print('{}'); raise SystemExit(1)"]) == "{}\n"
