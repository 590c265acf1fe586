"""`--journal FILE`: every command that tells what was recorded tells it of another journal too."""

import re
from pathlib import Path

import pytest

from brineward.commands.main import main
from brineward.config.load import load_settings
from brineward.journal import Journal
from export_kills import fill
from services import write_config

TELLING = (
    ["status"], ["alarms"], ["mode"], ["night"], ["calibrate"], ["record", "--list"], ["loads"],
    ["batches"], ["balance"], ["settings"], ["report", "night"], ["export", "-o", "-"],
)  # fmt: skip
ENTERING = (
    ["mode", "laid up", "--by", "yard"],
    ["record", "remark", "x", "--by", "yard"],
    ["calibrate", "--hydrometer", "1.176", "--temperature", "41 degF", "--by", "yard"],
)


@pytest.fixture
def config(tmp_path: Path) -> Path:
    """A config whose own journal does not exist."""
    return write_config(tmp_path / "depot", 1883)


@pytest.fixture
def other(tmp_path: Path) -> Path:
    """A journal of some readings, long past."""
    file = tmp_path / "other.journal"
    with Journal.open(file) as journal:
        fill(journal, 0, 300)
    return file


@pytest.mark.parametrize("words", TELLING, ids=lambda words: words[0])
def test_what_tells_of_records_tells_them_of_a_journal_that_is_named(
    words: list[str],
    config: Path,
    other: Path,
    capsys: pytest.CaptureFixture[str],
    monkeypatch: pytest.MonkeyPatch,
) -> None:
    """It is understood, "now" is that journal's, and the config's own is neither asked nor made."""
    monkeypatch.chdir(config.parent)
    command, *rest = words
    assert main([command, str(config), *rest, "--journal", str(other)]) in (0, 1)
    said = capsys.readouterr().out
    if command in ("night", "export"):  # readings of the first minutes of 2026 in UTC
        assert re.search("30 December 2025|2026-01-01", said), said
    assert not load_settings(config).journal.path.exists()


@pytest.mark.parametrize("words", ENTERING, ids=lambda words: words[0])
def test_nothing_is_entered_into_a_journal_that_is_named(
    words: list[str], config: Path, other: Path, capsys: pytest.CaptureFixture[str]
) -> None:
    """No service would take it from there: it is refused in a sentence, and the file stays."""
    with Journal.open(other) as journal:
        before = journal.inbox.waiting()
    command, *rest = words
    assert main([command, str(config), *rest, "--journal", str(other)]) == 2
    assert "--journal is for looking" in capsys.readouterr().err
    with Journal.open(other) as journal:
        assert list(journal.inbox.waiting()) == list(before)
