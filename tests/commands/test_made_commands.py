"""`replay --journal`, and `loads`, `batches` and `balance` of what it wrote."""

import csv
import json
from datetime import UTC, datetime
from pathlib import Path
from typing import Any

import pytest

from brinesim.scoring.records import judged
from brineward.commands.main import main
from brineward.commands.record_rows import flattened
from brineward.journal import Journal
from brineward.records import Records
from commands.loads_in_fills import CONFIG, run

__all__ = ["run"]

VOLUME_KEYS = ["volume_m3", "volume_standard_uncertainty_m3", "mass_fraction", "interval_95"]
BEGIN_KEYS = ["depot", "number", "began", "ended"]
LOAD_KEYS = [*BEGIN_KEYS, "source", *VOLUME_KEYS, "temperature_c", "salt_kg", "how"]
BY_HAND_KEYS = ["tested", "accepted", "settings"]
BATCH_KEYS = [*BEGIN_KEYS, "vessel", *VOLUME_KEYS, "salt_kg", "water_m3", *BY_HAND_KEYS]


def said(run: Path, capsys: pytest.CaptureFixture[str], *words: str) -> str:
    capsys.readouterr()
    name, *more = words
    assert main([name, str(CONFIG), "--journal", str(run / "run.journal"), *more]) == 0
    return capsys.readouterr().out


def rows(run: Path, capsys: pytest.CaptureFixture[str], *words: str) -> list[dict[str, Any]]:
    return [json.loads(line) for line in said(run, capsys, *words, "--json").splitlines()]


def test_every_load_and_batch_is_found_and_none_invented(
    run: Path, capsys: pytest.CaptureFixture[str]
) -> None:
    """Against the simulator's truth: loads, volumes, strengths, batches and the salt loaded."""
    truth = json.loads((run / "run.truth.json").read_text())
    found = {name: rows(run, capsys, name) for name in ("loads", "batches", "balance")}
    card = judged(truth, found)
    assert card.loads == len(truth["loads"]) == 7
    assert (card.loads_found, card.loads_invented) == (card.loads, 0)
    shares = [abs(e) / v for e, v in zip(card.errors_m3, card.volumes_m3, strict=True)]
    assert max(shares) < 0.02
    assert all(card.load_strengths)
    assert card.batches_found == card.batches > 2
    assert card.batches_invented == 0
    assert all(card.batch_strengths)
    assert abs(card.salt_loaded[0]) < 0.02
    assert abs(card.salt_made[0]) < 0.03


def test_the_judge_sees_a_load_that_is_missing_and_one_that_is_not_there(run: Path) -> None:
    """The evaluation itself: nothing said is nothing found; a made-up load is invented."""
    truth = json.loads((run / "run.truth.json").read_text())
    nothing = judged(truth, {"loads": [], "batches": [], "balance": []})
    assert (nothing.loads_found, nothing.loads_invented) == (0, 0)
    made_up = {"began": "2026-01-19T06:30:00Z", "ended": "2026-01-19T06:40:00Z"}
    assert judged(truth, {"loads": [made_up], "batches": [], "balance": []}).loads_invented == 1


def test_the_columns_are_what_others_build_on(
    run: Path, capsys: pytest.CaptureFixture[str]
) -> None:
    """The keys of a line in their order, numbers from 1, times in UTC, intervals as two numbers."""
    loads, batches = rows(run, capsys, "loads"), rows(run, capsys, "batches")
    assert [list(load) for load in loads] == [LOAD_KEYS] * len(loads)
    assert [list(batch) for batch in batches] == [BATCH_KEYS] * len(batches)
    assert [load["number"] for load in loads] == list(range(1, len(loads) + 1))
    low, high = loads[0]["interval_95"]
    assert low < loads[0]["mass_fraction"] < high
    assert datetime.fromisoformat(loads[0]["began"]).tzinfo is UTC


def test_csv_has_the_same_rows(run: Path, capsys: pytest.CaptureFixture[str]) -> None:
    """One header, one row a load; an interval is two columns."""
    table = list(csv.DictReader(said(run, capsys, "loads", "--csv").splitlines()))
    loads = rows(run, capsys, "loads")
    assert [float(row["volume_m3"]) for row in table] == [load["volume_m3"] for load in loads]
    assert [float(row["low_95"]) for row in table] == [load["interval_95"][0] for load in loads]


def test_the_balance_as_csv_has_one_number_a_cell(
    run: Path, capsys: pytest.CaptureFixture[str]
) -> None:
    """Each amount and its standard uncertainty are columns of their own, as JSON has them in one;
    also where one is not known. No cell is a list."""
    (table,) = csv.DictReader(said(run, capsys, "balance", "--csv").splitlines())
    (balance,) = rows(run, capsys, "balance")
    pairs = {name: both for name, both in balance.items() if isinstance(both, list)}
    assert len(pairs) == 17
    for name, both in pairs.items():
        what, _, unit = name.rpartition("_")
        doubt = table[f"{what}_standard_uncertainty_{unit}"]
        assert [float(table[name]), float(doubt)] == both
    assert not [cell for cell in table.values() if "[" in cell]
    unknown = flattened({"salt_delivered_kg": None, "how": "not known"}, ("salt_delivered_kg",))
    assert list(unknown) == ["salt_delivered_kg", "salt_delivered_standard_uncertainty_kg", "how"]


def test_a_number_is_kept_whatever_is_asked(run: Path, capsys: pytest.CaptureFixture[str]) -> None:
    """Asked from the third load on, the first that is shown is number 3."""
    third = rows(run, capsys, "loads")[2]
    later = rows(run, capsys, "loads", "--since", third["began"])
    assert later[0] == third


@pytest.mark.parametrize("name", ["loads", "batches"])
def test_what_crosses_midnight_is_listed_once(
    run: Path, capsys: pytest.CaptureFixture[str], name: str
) -> None:
    """Two stretches that meet in the midst of the second one: together they are the whole."""
    every = rows(run, capsys, name)
    began, ended = (datetime.fromisoformat(every[1][key]) for key in ("began", "ended"))
    edge = (began + (ended - began) / 2).isoformat()
    before = rows(run, capsys, name, "--until", edge)
    after = rows(run, capsys, name, "--since", edge)
    assert before == every[:1]
    assert after == every[1:]


def test_a_batch_has_the_last_test_before_the_next(
    run: Path, capsys: pytest.CaptureFixture[str]
) -> None:
    """The test at a quarter past six is of the first batch, and of no other."""
    tests = [batch["tested"] for batch in rows(run, capsys, "batches")]
    assert tests[0]["at"].startswith("2026-01-19T06:15")
    assert tests.count(tests[0]) == 1


def test_people_read_their_own_units(run: Path, capsys: pytest.CaptureFixture[str]) -> None:
    """Gallons, pounds, degrees Fahrenheit and the depot's clock."""
    first = said(run, capsys, "loads").splitlines()[1]
    assert "2026-01-19 02:00 to 02:15" in first
    assert "gal +/-" in first
    assert " F  " in first
    assert "lb of salt" in first
    balance = said(run, capsys, "balance")
    assert "chloride" in balance
    assert "difference in the tanks" in balance


def test_chloride_is_its_share_of_the_salt(run: Path, capsys: pytest.CaptureFixture[str]) -> None:
    """35.453 of 58.443, by the standard atomic weights."""
    (balance,) = rows(run, capsys, "balance")
    salt, chloride = balance["salt_loaded_kg"][0], balance["chloride_loaded_kg"][0]
    assert chloride == pytest.approx(salt * 35.453 / 58.443, rel=1e-6)
    loads = rows(run, capsys, "loads")
    assert salt == pytest.approx(sum(load["salt_kg"] for load in loads))


def test_other_commands_read_the_replayed_journal(
    run: Path, capsys: pytest.CaptureFixture[str]
) -> None:
    """Figures of alarms and the probe's tests are those of the run, by the run's own time."""
    assert "2026-01-19" in said(run, capsys, "calibrate")
    assert "raised" in said(run, capsys, "alarms", "--figures")
    status = main(["status", str(CONFIG), "--journal", str(run / "run.journal"), "--json"])
    assert status == 1  # no service runs there
    shown = json.loads(capsys.readouterr().out)
    assert shown["time"].startswith("2026-01-19")


def test_no_text_of_a_replayed_run_is_ever_sent(run: Path) -> None:
    """What fell due in the run is closed: a service that opened the file would send nothing."""
    with Journal.open(run / "run.journal", read_only=True) as journal:
        counts = Records(journal.handle).texts.counts()
        assert journal.outbox.next_text_at() is None
    assert counts.get("dead", 0) > 0
    assert counts["open"] == counts["accepted"] == 0


def test_a_file_that_is_there_is_not_written_over(
    run: Path, capsys: pytest.CaptureFixture[str]
) -> None:
    """A sentence, 2, and the file as it was."""
    before = (run / "run.journal").read_bytes()
    words = ["replay", str(CONFIG), str(run / "run.csv"), "--journal", str(run / "run.journal")]
    assert main(words) == 2
    assert "exists already" in capsys.readouterr().err
    assert (run / "run.journal").read_bytes() == before


def test_what_is_misasked_is_told(run: Path, capsys: pytest.CaptureFixture[str]) -> None:
    """A depot that there is not, a stretch that runs backwards, a journal that is not there."""
    kept = ["--journal", str(run / "run.journal")]
    for words, why in (
        (
            [*kept, "--depot", "nowhere"],
            "'nowhere' is not a depot of this config; expected --depot tern-hollow",
        ),
        ([*kept, "--since", "2026-02-01", "--until", "2026-01-01"], "is not before"),
        (["--journal", str(run / "none.journal")], "none.journal"),
    ):
        assert main(["loads", str(CONFIG), *words]) == 2
        assert why in capsys.readouterr().err


def test_nothing_loaded_ends_with_1(run: Path, capsys: pytest.CaptureFixture[str]) -> None:
    """A stretch before the run: no load, and that is said."""
    words = ["--since", "2026-01-01", "--until", "2026-01-02"]
    assert main(["loads", str(CONFIG), "--journal", str(run / "run.journal"), *words]) == 1
    assert "no loads" in capsys.readouterr().out
