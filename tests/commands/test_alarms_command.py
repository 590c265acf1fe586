"""`brineward alarms`: the catalogue as it is, and what holds at a depot."""

import json
from pathlib import Path

import pytest

from brineward.alarms.registry import CATALOGUE, alarms_at, site_of
from brineward.commands.main import main
from brineward.config.load import load_settings
from brineward.wording.operator_units import in_units

CONFIG = Path(__file__).parents[2] / "config"
TERN_HOLLOW = CONFIG / "tern-hollow.toml"
SMALLEST = CONFIG / "smallest.toml"


def test_it_prints_every_alarm_with_all_that_is_known_of_it(
    capsys: pytest.CaptureFixture[str],
) -> None:
    """Cause, consequence, response, time, delays and basis of each, in metric units."""
    assert main(["alarms"]) == 0
    said = " ".join(capsys.readouterr().out.split())
    for record in CATALOGUE.values():
        for text in (
            record.id,
            record.title,
            record.cause,
            record.consequence,
            record.response,
            record.respond_within,
            record.text_response,
            record.basis,
        ):
            assert " ".join(in_units(text, us=False).split()) in said


def test_as_json_it_is_the_catalogue_itself(capsys: pytest.CaptureFixture[str]) -> None:
    """One object an alarm, in the catalogue's order, with numbers as numbers."""
    assert main(["alarms", "--json"]) == 0
    rows = json.loads(capsys.readouterr().out)["alarms"]
    assert [row["id"] for row in rows] == list(CATALOGUE)
    for row in rows:
        record = CATALOGUE[row["id"]]
        assert row["on_delay_seconds"] == record.on_delay_seconds
        assert row["off_delay_seconds"] == record.off_delay_seconds
        assert row["priority"] == record.priority
        assert row["limit"] == record.limit
        assert row["suppressed_by"] == list(record.suppressed_by)
        assert row["watched"] == []


def test_with_a_config_it_says_where_each_is_watched(capsys: pytest.CaptureFixture[str]) -> None:
    """Exactly what the engine of that config would watch, with the limits that hold there."""
    assert main(["alarms", str(TERN_HOLLOW), "--json"]) == 0
    rows = json.loads(capsys.readouterr().out)["alarms"]
    printed = {(r["id"], w["source"], w["priority"]) for r in rows for w in r["watched"]}
    (plan,) = load_settings(TERN_HOLLOW).depots.values()
    assert printed == {
        (w.record.id, w.condition.source, w.priority) for w in alarms_at(site_of(plan))
    }
    overflow = next(r for r in rows if r["id"] == "overflow-ahead")["watched"]
    limits = {watch["source"]: watch["limit"] for watch in overflow}
    assert limits["main"] == pytest.approx(2.25)


def test_what_a_depot_lacks_is_said(capsys: pytest.CaptureFixture[str]) -> None:
    """An alarm without its sensors is reported as not watched."""
    assert main(["alarms", str(SMALLEST)]) == 0
    said = capsys.readouterr().out
    assert "not watched; see `brineward check`." in said


def test_what_is_switched_off_is_said(tmp_path: Path, capsys: pytest.CaptureFixture[str]) -> None:
    """An alarm that the config switches off is reported as that, and its own delays are shown."""
    config = tmp_path / "own.toml"
    config.write_text(
        TERN_HOLLOW.read_text(encoding="utf-8")
        + "\n[depots.tern-hollow.alarms.brine-weak]\nenabled = false\n"
        + '\n[depots.tern-hollow.alarms.shelter-freezing]\nlimit = "50 degF"\non_delay = "7 min"\n',
        encoding="utf-8",
    )
    assert main(["alarms", str(config)]) == 0
    said = capsys.readouterr().out
    assert "At Tern Hollow: switched off in this file." in said
    assert "At Tern Hollow: shelter, limit 50 F, on-delay 7 min." in said


def test_a_mistaken_config_is_refused(tmp_path: Path, capsys: pytest.CaptureFixture[str]) -> None:
    """Exit code 2 and the mistake, not a catalogue."""
    config = tmp_path / "broken.toml"
    config.write_text("[link]\nhots = 1\n", encoding="utf-8")
    assert main(["alarms", str(config)]) == 2
    assert "hots" in capsys.readouterr().err


def test_without_a_name_the_installed_config_is_told_where_there_is_one(
    tmp_path: Path, capsys: pytest.CaptureFixture[str], monkeypatch: pytest.MonkeyPatch
) -> None:
    """On a depot box its own depots; on a laptop, or without leave to read it, the catalogue."""
    for installed, told in ((TERN_HOLLOW, True), (tmp_path / "none.toml", False)):
        for module in ("config_file", "alarms"):
            monkeypatch.setattr(f"brineward.commands.{module}.INSTALLED_CONFIG", installed)
        assert main(["alarms"]) == 0
        assert ("At Tern Hollow" in capsys.readouterr().out) is told
    assert main(["alarms", str(tmp_path / "other.toml")]) == 2
