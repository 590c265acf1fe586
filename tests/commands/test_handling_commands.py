"""`brineward shelve`, `unshelve`, `out-of-service`, `back-in-service`, `reset`, `take --undo`."""

from collections.abc import Iterator
from dataclasses import replace
from pathlib import Path

import pytest

from active import commit, raised
from brineward.clock import MachineClock
from brineward.commands.main import main
from brineward.config.load import load_settings
from brineward.journal.journal import Journal
from brineward.readings.entries import Handling
from brineward.readings.instants import HOUR
from brineward.readings.outputs import AlarmState
from services import write_config


@pytest.fixture
def config(tmp_path: Path) -> Path:
    """Tern Hollow, with a yard lead and a dispatch desk on call."""
    return write_config(tmp_path, 1883)


@pytest.fixture
def journal(config: Path) -> Iterator[Journal]:
    """Its journal, with TH2 active."""
    with Journal.open(load_settings(config).journal.path) as opened:
        commit(opened, replace(raised(2, MachineClock().now()), source="main"))
        yield opened


def acts(journal: Journal) -> list[Handling]:
    """The acts that wait for the service."""
    return [entry for _, entry in journal.inbox.waiting() if isinstance(entry, Handling)]


def call(config: Path, *words: str) -> int:
    """A command's exit code."""
    return main([*words, "--by", "yard", "--config", str(config)])


def test_an_alarm_is_shelved_for_as_long_as_was_said(
    config: Path, journal: Journal, capsys: pytest.CaptureFixture[str]
) -> None:
    """Its end is computed from now."""
    assert call(config, "shelve", "TH2", "--for", "30 min", "--why", "float stuck") == 0
    (act,) = acts(journal)
    assert (act.what, act.number, act.by, act.why) == ("shelve", 2, "yard", "float stuck")
    assert act.until - act.time == HOUR // 2
    assert "TH2 is shelved until " in capsys.readouterr().out


def test_a_sensor_is_put_out_of_service_by_its_alarms_name(config: Path, journal: Journal) -> None:
    """There is no code while nothing is wrong."""
    named = "tern-hollow/sensor-silent/main-level"
    assert call(config, "out-of-service", named, "--why", "at the shop") == 0
    (act,) = acts(journal)
    assert (act.what, act.alarm, act.source) == ("out of service", "sensor-silent", "main-level")


def test_a_take_is_undone(config: Path, journal: Journal) -> None:
    """Who took it hands it back."""
    now = MachineClock().now()
    had = raised(3, now, AlarmState.ACKNOWLEDGED, by="Yard lead")
    commit(journal, replace(had, source="hopper"), replace(had, source="main", number=2))
    assert call(config, "take", "TH2", "--undo") == 0
    assert [(act.what, act.number) for act in acts(journal)] == [("hand back", 2)]


@pytest.mark.parametrize(
    ("words", "code"),
    [
        (("shelve", "TH2", "--for", "soon"), 2),
        (("shelve", "TH2", "--for", "0 s"), 2),
        (("shelve", "XX2", "--for", "1 h"), 2),
        (("unshelve", "TH2"), 1),
        (("back-in-service", "TH2"), 1),
        (("reset", "TH2"), 1),
        (("out-of-service", "elsewhere/sensor-silent/x", "--why", "y"), 2),
    ],
)
def test_what_can_not_be_done_is_said_and_nothing_is_handed_over(
    config: Path,
    journal: Journal,
    words: tuple[str, ...],
    code: int,
    capsys: pytest.CaptureFixture[str],
) -> None:
    """1 where it can't be, 2 where the call was wrong, each with a sentence."""
    assert call(config, *words) == code
    said = capsys.readouterr()
    assert said.out + said.err
    assert acts(journal) == []


def test_status_and_alarms_say_what_is_held_back_by_whom_until_when_and_why(
    config: Path, journal: Journal, capsys: pytest.CaptureFixture[str]
) -> None:
    """Nobody has to remember what was silenced."""
    now = MachineClock().now()
    shelved = replace(
        raised(2, now, AlarmState.SHELVED, by="Yard lead"),
        source="main",
        until=now + 60_000,
        why="float stuck",
    )
    out = replace(
        raised(3, now, AlarmState.OUT_OF_SERVICE, by="Dispatch"),
        alarm="sensor-silent",
        source="main-level",
        why="at the shop",
    )
    commit(journal, shelved, out)
    main(["status", str(config)])
    said = capsys.readouterr().out
    assert "TH2: Shelved until " in said
    assert " by Yard lead (float stuck): overflow-ahead (main)." in said
    assert "TH3: Out of service by Dispatch (at the shop): sensor-silent (main-level)." in said
    main(["alarms", str(config)])
    listed = " ".join(capsys.readouterr().out.split())
    assert "by Yard lead (float stuck)" in listed
    assert "out of service by Dispatch (at the shop)" in listed
