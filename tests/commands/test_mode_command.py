"""`brineward mode`: what it shows, sets, refuses and ends with."""

import argparse
import json
from collections.abc import Iterator
from pathlib import Path

import pytest

from brineward.clock import MachineClock
from brineward.commands import mode
from brineward.commands.status import gather
from brineward.commands.status_lines import lines
from brineward.config.load import load_settings
from brineward.engine.engine import Engine
from brineward.journal.journal import Journal
from brineward.readings.entries import Entry, ModeSet, Tick
from brineward.readings.instants import HOUR, MINUTE
from brineward.readings.modes import Mode
from brineward.readings.outputs import Step
from brineward.readings.values import Reading
from brineward.records import Records
from services import write_config


def main(*arguments: str) -> int:
    """The command's exit code."""
    parser = argparse.ArgumentParser()
    mode.add_parser(parser.add_subparsers())
    args = parser.parse_args(["mode", *arguments])
    return int(args.run(args))


@pytest.fixture
def config(tmp_path: Path) -> Path:
    """Tern Hollow with a schedule."""
    file = write_config(tmp_path, 1883)
    seasons = '[depots.tern-hollow.seasons]\nlaid_up = "04-30"\n'
    file.write_text(f"{file.read_text()}\n{seasons}")
    return file


@pytest.fixture
def journal(config: Path) -> Iterator[Journal]:
    """Its journal."""
    with Journal.open(load_settings(config).journal.path) as opened:
        yield opened


def serve(journal: Journal, config: Path, *entries: Entry) -> None:
    """What the service does with what waits, after these."""
    engine = Engine(load_settings(config).depots)
    waiting = [entry for _, entry in journal.inbox.waiting()]
    numbers = [number for number, _ in journal.inbox.waiting()]
    steps = [Step(entry, engine.step(entry)) for entry in (*entries, *waiting)]
    journal.commit(steps, inbox_done=numbers)


def test_before_anybody_set_one_it_is_in_service(
    config: Path, journal: Journal, capsys: pytest.CaptureFixture[str]
) -> None:
    """And says what the schedule will do."""
    assert main(str(config)) == 0
    said = capsys.readouterr().out.splitlines()
    assert said[0] == "Tern Hollow: In service; nobody has set another mode."
    assert said[1] == "  All is watched."
    assert said[-1].startswith("  By its schedule laid up from 20")
    assert said[-1].endswith("-04-30 08:00.")


@pytest.mark.parametrize("words", [("laid up",), ("laid", "up"), ("laid-up",), ("LAID UP",)])
def test_it_is_set_for_the_service_to_take(
    words: tuple[str, ...], config: Path, journal: Journal, capsys: pytest.CaptureFixture[str]
) -> None:
    """However it is written; shown at once as it will be."""
    assert main(str(config), *words, "--by", "Yard lead") == 0
    (entry,) = [entry for _, entry in journal.inbox.waiting()]
    assert isinstance(entry, ModeSet)
    assert (entry.mode, entry.by, entry.single_batch) == (Mode.LAID_UP, "yard", False)
    said = capsys.readouterr().out
    assert "Laid up since" in said
    assert "set by Yard lead" in said
    (quiet,) = [line for line in said.splitlines() if line.startswith("  No texts of: ")]
    assert "brine weak" in quiet
    assert "tank near overflow" not in quiet


def test_status_and_records_keep_it(
    config: Path, journal: Journal, capsys: pytest.CaptureFixture[str]
) -> None:
    """Who set it and when, after the service has taken it; the schedule's own as its."""
    now = MachineClock().now()
    assert main(str(config), "filling up", "--by", "yard", "--single-batch") == 0
    serve(journal, config, Tick(time=now - HOUR))
    known = Records(journal.handle).modes.now("tern-hollow")
    assert (known.mode, known.by, known.single_batch) == (Mode.FILLING_UP, "yard", True)
    assert known.since is not None
    assert now <= known.since <= now + MINUTE
    settings = load_settings(config)
    found = gather(settings, journal, now)
    assert found["depots"][0]["mode"]["mode"] == "filling up"
    assert any(
        line.startswith("  Filling up, one batch since ") for line in lines(settings, found, now)
    )
    capsys.readouterr()
    assert main(str(config), "--json") == 0
    row = json.loads(capsys.readouterr().out)
    assert (row["mode"], row["by"], row["single_batch"]) == ("filling up", "yard", True)
    assert "brine-weak" in row["quiet"]
    assert row["next"][1] == "laid up"


def test_what_the_schedule_has_set_is_said_to_be_its(config: Path, journal: Journal) -> None:
    """Also where somebody had set the same mode the year before."""
    plan = load_settings(config).depots["tern-hollow"]
    first = plan.seasons.next_after(MachineClock().now() - 700 * 24 * HOUR, plan.zone)
    assert first is not None
    person = [
        ModeSet(depot=plan.id, time=first.at + at, received=first.at + at, mode=set_, by="yard")
        for at, set_ in ((-9 * HOUR, Mode.LAID_UP), (-8 * HOUR, Mode.IN_SERVICE))
    ]
    serve(journal, config, Tick(time=first.at - 10 * HOUR), *person, Tick(time=first.at + HOUR))
    modes = Records(journal.handle).modes
    known = modes.now(plan.id)
    assert (known.mode, known.since, known.by) == (Mode.LAID_UP, first.at, "")
    assert [(one.mode, one.ended is None) for one in modes.between(plan.id)] == [
        (Mode.LAID_UP, False),
        (Mode.IN_SERVICE, False),
        (Mode.LAID_UP, True),
    ]


def test_the_next_step_by_what_the_sensors_show(
    config: Path, journal: Journal, capsys: pytest.CaptureFixture[str]
) -> None:
    """The newest readings, and nothing of a sensor that is silent."""
    now = MachineClock().now()
    said = {"main-level": 1.5, "spare-level": 0.02, "pump-running": 0.0}
    readings = [Reading("tern-hollow", name, now, value, now) for name, value in said.items()]
    serve(journal, config, *readings)
    main(str(config), "being drained", "--by", "yard")
    capsys.readouterr()
    assert main(str(config), "--next") == 0
    assert capsys.readouterr().out == (
        "Tern Hollow is being drained. Step 1 of 5: water off at its supply. Then: water still "
        "off, drain the tanks from outside (main tank 1.50 m now).\n"
    )


@pytest.mark.parametrize(
    ("arguments", "why"),
    [
        (("asleep",), "'asleep' is not a mode; expected one of \"filling up\", "),
        (("laid up", "--by", "nobody"), "nobody is not on call at Tern Hollow; say who sets it"),
        (("--single-batch",), "in which mode? Name it with --single-batch or --refills"),
        (
            ("laid up", "--depot", "elsewhere"),
            "'elsewhere' is not a depot of this config; expected --depot tern-hollow",
        ),
    ],
)
def test_what_can_not_be_done_is_refused_in_a_sentence(
    arguments: tuple[str, ...],
    why: str,
    config: Path,
    journal: Journal,
    capsys: pytest.CaptureFixture[str],
) -> None:
    """Exit code 2, and nothing is set."""
    assert main(str(config), *arguments) == 2
    assert capsys.readouterr().err.startswith(why)
    assert journal.inbox.waiting() == []


def test_without_a_journal_nothing_is_set(config: Path, capsys: pytest.CaptureFixture[str]) -> None:
    """The service has never run."""
    assert main(str(config), "laid up", "--by", "yard") == 2
    assert "There is no journal at " in capsys.readouterr().err
