"""`brineward replay --strength`: what anybody can hold against the truth of a run."""

import csv
import json
from bisect import bisect_right
from datetime import datetime
from pathlib import Path

import pytest

from brinesim.commands.main import main as simulate
from brineward.commands.main import main

CONFIG = Path(__file__).parents[2] / "config" / "tern-hollow.toml"


@pytest.fixture(scope="module")
def night(tmp_path_factory: pytest.TempPathFactory) -> tuple[list[dict[str, str]], dict]:
    """The rows of a simulated night, and its truth."""
    folder = tmp_path_factory.mktemp("strength")
    readings, out = folder / "night.csv", folder / "strength.csv"
    assert simulate(["write", "winter-night", "-o", str(readings), "--quiet"]) == 0
    assert main(["replay", str(CONFIG), str(readings), "--strength", str(out)]) == 0
    with out.open(newline="") as file:
        rows = list(csv.DictReader(file))
    return rows, json.loads(readings.with_suffix(".truth.json").read_text())


def test_there_is_one_row_a_minute_with_these_columns(night) -> None:
    """Twelve hours of a probe that speaks every few seconds: no minute twice, none left out but
    those in which the probe was bare; an interval around each value, in the order of time."""
    rows, _ = night
    assert list(rows[0]) == [
        "time", "depot", "vessel", "mass_fraction", "low_95", "high_95", "calibrated",
    ]  # fmt: skip
    minutes = [row["time"][:16] for row in rows]
    assert minutes == sorted(set(minutes))
    assert len(minutes) > 600
    for row in rows:
        assert float(row["low_95"]) < float(row["mass_fraction"]) < float(row["high_95"])
        assert (row["depot"], row["vessel"]) == ("tern-hollow", "main")
    assert {row["calibrated"] for row in rows} == {"false", "true"}


def test_the_rows_are_about_the_simulator_s_brine(night) -> None:
    """Outside truth: the simulator's own brine, which shares no code and no curve with us. One
    night is one draw of the probe's and the test's errors, so this is no measure of coverage (a
    thousand seasons are, in `daemon/docs/strength.md`): each row is within 1 % by mass of it."""
    rows, truth = night
    start = datetime.fromisoformat(truth["start"]).timestamp()
    seconds, strengths = truth["series"]["seconds"], truth["series"]["main_strength"]
    off = []
    for row in rows:
        at = datetime.fromisoformat(row["time"]).timestamp() - start
        true = strengths[max(0, bisect_right(seconds, at) - 1)]
        off.append(abs(float(row["mass_fraction"]) - true))
    assert sorted(off)[len(off) // 2] < 0.004
    assert sum(one < 0.01 for one in off) >= 0.95 * len(off)
    assert max(strengths) - min(strengths) > 0.03  # it went weak: a constant would not do


@pytest.mark.parametrize(
    ("words", "said"),
    [
        (("a.csv", "b.csv", "--strength", "s.csv"), "--strength goes with one readings file"),
        (("a.csv", "--strength", "s.csv", "--change", "brine-weak.limit=0.2"), "ask one at a time"),
    ],
)
def test_what_does_not_go_together_is_said(words, said, capsys) -> None:
    """Before anything is read."""
    assert main(["replay", str(CONFIG), *words]) == 2
    assert said in capsys.readouterr().err


def test_a_place_that_can_t_be_written_is_said(tmp_path, capsys) -> None:
    """A folder that isn't there costs a sentence, no traceback."""
    readings = tmp_path / "a.csv"
    readings.write_text("time,depot,sensor,value\n2026-01-15T00:00:00Z,tern-hollow,main-level,2\n")
    out = tmp_path / "none" / "s.csv"
    assert main(["replay", str(CONFIG), str(readings), "--strength", str(out)]) == 2
    assert "can't be written: No such file" in capsys.readouterr().err
