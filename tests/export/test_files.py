"""Series as files: what is read back is what the journal has, to the last bit."""

import csv
import math
from pathlib import Path

import pytest
from hypothesis import given, settings
from hypothesis import strategies as st
from pyarrow import parquet

from brineward.commands.main import main
from brineward.config.load import load_settings
from brineward.decode.recorded import Recording
from brineward.journal import Journal
from brineward.readings.outputs import Step
from brineward.readings.values import Quality, Reading
from brineward.records import bulk
from journal.samples import T0, derived, reading
from reports.made import RECORDED, STANDARD, play, settings_with

SPAN = ("--since", "2025-12-31", "--until", "2026-02-01")
PLAN = load_settings(STANDARD).depots["tern-hollow"]


def journal_with(folder: Path, *steps: Step):
    """Settings whose journal holds these."""
    made = settings_with(folder / "a.journal", folder)
    with Journal.open(made.journal.path) as journal:
        journal.commit(list(steps))
    return made


def exported(made, out: Path, *words: str) -> int:
    """What the command ends with."""
    return main(["export", str(made.file), "-o", str(out), *SPAN, *words])


def rows_of(out: Path) -> list[dict[str, str]]:
    """A CSV file's rows."""
    with out.open(newline="") as file:
        return list(csv.DictReader(file))


NUMBERS = st.floats(allow_nan=False, allow_infinity=False, width=64)


@settings(max_examples=30, deadline=None)
@given(values=st.lists(NUMBERS, min_size=1, max_size=8))
def test_every_number_is_read_back_as_it_is(values, tmp_path_factory):
    """Whatever a sensor sent: the float of the file is the float of the journal, in both forms."""
    folder = tmp_path_factory.mktemp("exact")
    made = journal_with(folder, *(Step(reading(n, v), ()) for n, v in enumerate(values)))
    assert exported(made, folder / "a.csv") == 0
    assert exported(made, folder / "a.parquet") == 0
    by_csv = [float(row["value"]) for row in rows_of(folder / "a.csv")]
    by_parquet = parquet.read_table(folder / "a.parquet")["value"].to_pylist()
    for found in (by_csv, by_parquet):
        assert [math.copysign(1, one) for one in found] == [math.copysign(1, v) for v in values]
        assert found == values


def test_a_row_says_what_is_known_of_it(tmp_path):
    """A reading with its unit and quality, one without a value, a strength with its interval."""
    bad = Reading(
        "tern-hollow", "main-level", T0 + 2000, None, T0 + 2000, Quality.BAD, "no value sent"
    )
    strength = derived(
        1000, 0.233, name="main-strength", standard_uncertainty=0.002, low_95=0.229,
        high_95=0.237, calibrated=True,
    )  # fmt: skip
    made = journal_with(tmp_path, Step(reading(1001, 2.19), (strength,)), Step(bad, ()))
    exported(made, tmp_path / "a.csv")
    level, no_value, of_strength = rows_of(tmp_path / "a.csv")
    assert level == {
        "time": "2026-01-01T00:00:01.001Z", "depot": "tern-hollow", "series": "main-level",
        "value": "2.19", "unit": "m", "quality": "good", "reason": "", "standard_uncertainty": "",
        "low_95": "", "high_95": "", "calibrated": "",
    }  # fmt: skip
    assert (no_value["value"], no_value["quality"]) == ("", "bad")
    assert no_value["reason"] == "no value sent"
    assert of_strength["series"] == "main-strength"
    assert [of_strength[name] for name in ("value", "unit", "low_95", "high_95", "calibrated")] == [
        "0.233", "/", "0.229", "0.237", "true",
    ]  # fmt: skip


@pytest.mark.parametrize("run", ["weak-brine", "closed-valve"])
def test_a_run_exported_as_senml_is_the_run(run, tmp_path):
    """Read back by the recording's own reader: each sensor, time and value as the journal has it
    (a pack is read in the order of its times). RFC 8428 names the units."""
    made = settings_with(tmp_path / "a.journal", tmp_path)
    play(made, RECORDED / f"{run}.csv")
    assert exported(made, tmp_path / "a.senml") == 0
    before = [
        (one.sensor, one.time, one.value)
        for one in Recording(RECORDED / f"{run}.csv", made.sources)
        if isinstance(one, Reading) and one.value is not None
    ]
    after = [
        (one.sensor, one.time, one.value)
        for one in Recording(tmp_path / "a.senml", made.sources)
        if isinstance(one, Reading)
    ]
    assert sorted(after) == sorted(before)
    assert len(after) > 500


def test_only_what_was_asked_for_is_in_it(tmp_path, capsys):
    """By time, series and kind; nothing found is an exit code of its own."""
    steps = [Step(reading(n * 1000, 2.0, sensor=f"main-{s}"), (derived(n * 1000, 0.2),))
             for n in range(4) for s in ("level", "temperature")]  # fmt: skip
    made = journal_with(tmp_path, *steps)
    out = tmp_path / "a.csv"
    exported(made, out, "--series", "main-level", "--what", "readings")
    assert {row["series"] for row in rows_of(out)} == {"main-level"}
    words = ["export", str(made.file), "-o", str(out), "--what", "readings"]
    span = ["--since", "2026-01-01T00:00:01Z", "--until", "2026-01-01T00:00:03Z"]
    assert main([*words, *span]) == 0
    assert sorted({row["time"][17:19] for row in rows_of(out)}) == ["01", "02"]
    assert main([*words, "--since", "2026-03-01", "--until", "2026-03-02"]) == 1
    capsys.readouterr()


def test_many_looks_lose_and_double_nothing(tmp_path, monkeypatch):
    """The rows of a file are the same however few are fetched at a time."""
    made = settings_with(tmp_path / "a.journal", tmp_path)
    play(made, RECORDED / "closed-valve.csv")
    exported(made, tmp_path / "a.csv")
    monkeypatch.setattr(bulk, "LOOK", 7)
    exported(made, tmp_path / "b.csv")
    assert (tmp_path / "a.csv").read_bytes() == (tmp_path / "b.csv").read_bytes()
    assert len(rows_of(tmp_path / "a.csv")) > 100


@pytest.mark.parametrize(
    ("words", "said"),
    [
        (("-o", "a.doc"), "ends in none of .csv, .parquet, .senml"),
        (("-o", "none/a.csv"), "can't be written"),
        (("-o", "a.senml", "--what", "derived"), "a strength goes into"),
        (("-o", "a.csv", "--depot", "nowhere"), "which depot?"),
        (("-o", "a.csv", "--since", "soon"), "is no time"),
    ],
)
def test_what_can_t_be_written_is_a_sentence_and_leaves_nothing(
    tmp_path, monkeypatch, capsys, words, said
):
    """Exit code 2, and no half file."""
    made = journal_with(tmp_path, Step(reading(0), ()))
    (tmp_path / "out").mkdir()
    monkeypatch.chdir(tmp_path / "out")
    assert main(["export", str(made.file), *words]) == 2
    assert said in capsys.readouterr().err
    assert list((tmp_path / "out").iterdir()) == []


def test_csv_goes_to_the_standard_output_too(tmp_path, capfdbinary):
    """For a pipe: rows on one, the count on the other."""
    made = journal_with(tmp_path, Step(reading(0), ()))
    assert main(["export", str(made.file), "-o", "-", *SPAN]) == 0
    out, err = capfdbinary.readouterr()
    assert out.splitlines()[1].startswith(b"2026-01-01T00:00:00.000Z,tern-hollow,main-level,1.5,m")
    assert b"1 rows" in err
