"""`brineward status`: what it tells of a journal, and how it ends."""

import argparse
import json
from dataclasses import replace
from pathlib import Path

import pytest

from brineward.clock import MachineClock
from brineward.commands import status
from brineward.config.load import load_settings
from brineward.journal import Journal
from brineward.readings.entries import LinkChanged
from brineward.readings.instants import MINUTE, rfc3339_from_instant
from brineward.readings.outputs import AlarmState, Step
from brineward.readings.values import Quality, Reading, Refusal
from journal.samples import alarm, derived, plain, reading, text

EXAMPLE = Path(__file__).parents[2] / "config" / "tern-hollow.toml"


@pytest.fixture
def config(tmp_path: Path) -> Path:
    """The example config with its journal beside it."""
    path = tmp_path / "tern-hollow.toml"
    path.write_text(EXAMPLE.read_text())
    return path


@pytest.fixture
def now() -> int:
    """The machine's time."""
    return MachineClock().now()


def at(instant: int, one: Reading) -> Reading:
    """The reading, measured and arrived at an instant."""
    return one._replace(time=instant, received=instant)


def healthy(config: Path, now: int) -> Journal:
    """A journal with a live service, a link, and a reading of the main level."""
    settings = load_settings(config)
    journal = Journal.open(settings.journal.path)
    journal.signs_of_life.note(beat=now, pid=7, version="0.1.0", config_hash=settings.hash, started=now)
    level = at(now - 4000, reading(0, 1.2192))
    warm = at(now - 4000, reading(0, 10.0, sensor="main-temperature"))
    strength = derived(0, 0.2331, name="main-strength", standard_uncertainty=0.002)
    strength = replace(strength, time=now - 4000)
    steps = [Step(LinkChanged(time=now - MINUTE, up=True), ()), Step(level, (strength,))]
    journal.commit([*steps, *plain(warm)])
    return journal


def told(config: Path, capsys, *more: str) -> tuple[int, str, str]:
    """Exit code, output and errors of the command."""
    parser = argparse.ArgumentParser()
    status.add_parser(parser.add_subparsers())
    arguments = parser.parse_args(["status", str(config), *more])
    code = arguments.run(arguments)
    said = capsys.readouterr()
    return code, said.out, said.err


def test_all_calm_ends_with_0(config, now, capsys):
    """A live service, nothing standing: values in the operator's units, with their age."""
    healthy(config, now).close()
    code, out, _ = told(config, capsys)
    assert code == status.CALM
    assert "Service alive" in out
    assert "No alarm stands." in out
    assert "main-level           4.00 ft, " in out
    assert "main-temperature     50 F, " in out
    assert "hopper-level         nothing heard yet" in out
    # 23.31 % is the eutectic, -21.1 degC (Salt Institute): in the operator's units -6 F.
    assert "main strength 23.3 % (22.9 to 23.7, 95 %), first ice at -6 F" in out


def test_a_standing_alarm_ends_with_1_and_says_what_to_do(config, now, capsys):
    """Its code, its sentence, what to do, and the very command that takes it."""
    raised = replace(alarm(), time=now - 5 * MINUTE)
    quiet = alarm(alarm="probe-fouled", source="main-conductivity", number=0)
    quiet = replace(quiet, time=now, state=AlarmState.SUPPRESSED)
    due = replace(text(), time=now)
    with healthy(config, now) as journal:
        journal.commit([Step(at(now, reading(0, 1.0)), (raised, quiet, due))])
    code, out, _ = told(config, capsys)
    assert code == status.STANDING
    assert "TH12 HIGH: Main tank brine is weak. Since " in out
    assert "Do not load from this tank." in out
    assert f"If you have it: brineward take TH12 --config {config}\n" in out
    assert "Quiet under its cause: probe-fouled (main-conductivity)." in out
    assert "Texts: 1 waiting to be sent, 0 given up." in out
    taken = replace(
        raised,
        time=now - MINUTE,
        before=AlarmState.UNACKNOWLEDGED,
        state=AlarmState.ACKNOWLEDGED,
        by="Yard lead",
    )
    with Journal.open(load_settings(config).journal.path) as journal:
        journal.commit([Step(at(now + 1, reading(0, 1.0)), (taken,))])
    code, out, _ = told(config, capsys)
    assert code == status.STANDING
    assert "acknowledged, by Yard lead" in out
    assert "brineward take" not in out


def test_only_a_suppressed_alarm_is_calm(config, now, capsys):
    """What is quiet under a cause that has gone doesn't call anybody by itself."""
    quiet = replace(alarm(number=0), time=now, state=AlarmState.SUPPRESSED)
    with healthy(config, now) as journal:
        journal.commit([Step(at(now, reading(0, 1.0)), (quiet,))])
    assert told(config, capsys)[0] == status.CALM


def test_a_silent_service_is_not_calm(config, now, capsys):
    """No progress for minutes: said first and in capitals, whatever the last values were."""
    with healthy(config, now) as journal:
        journal.signs_of_life.note(beat=now - 12 * MINUTE)
    code, out, _ = told(config, capsys)
    assert code == status.STANDING
    assert out.startswith("SERVICE SILENT for 12 min: is it running?")


def test_a_lost_link_is_not_calm(config, now, capsys):
    """Cut off from the broker: since when, and why."""
    with healthy(config, now) as journal:
        journal.commit(plain(LinkChanged(time=now, up=False, why="refused\x1b[2J")))
    code, out, _ = told(config, capsys)
    assert code == status.STANDING
    assert f"BROKER NOT CONNECTED since {rfc3339_from_instant(now)} (refused?[2J)" in out
    assert "\x1b" not in out


def test_sensors_silent_bad_or_contradicting_are_said(config, now, capsys):
    """An old reading is SILENT, a bad one says why, refusals and conflicts are counted."""
    old = at(now - 60 * MINUTE, reading(0, 1.0, sensor="hose-flow"))
    bad = at(now, reading(0, None, sensor="pump-current", quality=Quality.BAD, reason="no value"))
    rubbish = Refusal("tern-hollow", "pump-running", now, "not-a-number", "It is.", "t", b"?")
    twice = [at(now, reading(0, value, sensor="hopper-level")) for value in (1.0, 1.1)]
    with healthy(config, now) as journal:
        journal.commit(plain(old, bad, rubbish, rubbish, *twice))
    _, out, _ = told(config, capsys)
    assert "hose-flow            15,850.3 gal/min, 60 min ago  SILENT" in out
    assert "no value (bad: no value)" in out
    assert "Refused from pump-running: 2 (not-a-number), last " in out
    assert "hopper-level gave two values for one instant 1 times." in out


def test_json_is_si(config, now, capsys):
    """For programs: plain JSON, SI units, instants in UTC, the same verdict."""
    healthy(config, now).close()
    code, out, _ = told(config, capsys, "--json")
    found = json.loads(out)
    assert code == status.CALM
    assert found["calm"] is True
    (depot,) = found["depots"]
    sensors = {one["id"]: one for one in depot["sensors"]}
    assert sensors["main-level"]["value"] == pytest.approx(1.2192)
    assert 4 <= sensors["main-level"]["age_seconds"] < 60
    assert sensors["hopper-level"]["silent"] is True
    (strength,) = depot["strengths"]
    assert strength["interval_95"] == pytest.approx([0.2291, 0.2371])
    # Salt Institute: eutectic -21.1 degC; the interval reaches over it to either side.
    assert strength["freezing_interval_c"][0] == pytest.approx(-21.1, abs=0.2)
    assert strength["freezing_interval_c"][1] > -21.1
    assert found["disk"]["journal_bytes"] > 0


def test_what_cannot_be_read_ends_with_2(config, tmp_path, capsys):
    """No journal yet, a wrong file, a wrong config: one sentence, never a traceback."""
    code, out, err = told(config, capsys)
    assert (code, out) == (status.UNREADABLE, "")
    assert "has the service ever run?" in err
    (tmp_path / "tern-hollow.journal").write_text("not a database, just words")
    assert told(config, capsys)[0] == status.UNREADABLE
    config.write_text("[journal\n")
    code, _, err = told(config, capsys)
    assert code == status.UNREADABLE
    assert "tern-hollow.toml" in err


def test_looking_changes_nothing(config, now, capsys):
    """The journal is the same to the byte after a look at it."""
    healthy(config, now).close()
    path = load_settings(config).journal.path
    before = path.read_bytes()
    told(config, capsys)
    assert path.read_bytes() == before
