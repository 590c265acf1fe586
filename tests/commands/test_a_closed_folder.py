"""Whoever may not look where the journal is gets a sentence, as an operator without sudo does."""

import os
import stat
from pathlib import Path

import pytest

from brineward.commands.main import main

PLAIN = Path(__file__).parents[1] / "configs" / "good" / "plain.toml"


@pytest.fixture
def config(tmp_path: Path, monkeypatch: pytest.MonkeyPatch) -> Path:
    """A config that may be read, of a journal in a folder that may not be looked into.

    As the system answers it to somebody else than root, as whom tests may run.
    """
    closed = tmp_path / "closed"
    plain = PLAIN.read_text(encoding="utf-8")
    closed.mkdir()
    asked = Path.stat

    def answered(self: Path, *, follow_symlinks: bool = True) -> os.stat_result:
        if closed in self.parents:
            raise PermissionError(13, "Permission denied", str(self))
        return asked(self, follow_symlinks=follow_symlinks)

    path = tmp_path / "config.toml"
    path.write_text(
        plain.replace('"plain.journal"', '"closed/plain.journal"')
        .replace(
            "[people.yard]",
            '[channels.log]\nkind = "file"\npath = "closed/in/texts.jsonl"\n\n[people.yard]',
        )
        .replace('channel = "phone"', 'channel = "log"')
        + '[page]\ncertificate_file = "closed/page.pem"\nkey_file = "closed/page.key"\n'
        '[depots.tern-hollow.rota]\ncalendar = "rota.ics"\n',
        encoding="utf-8",
    )
    monkeypatch.setattr(Path, "stat", answered)
    assert stat.S_ISDIR(closed.stat().st_mode)
    return path


@pytest.mark.parametrize(
    ("words", "code"),
    [
        (["status"], 2),
        (["loads"], 2),
        (["who"], 2),
        (["mode"], 2),
        (["page"], 2),
        (["backup"], 2),
        (["calibrate"], 2),
        (["run"], 3),
    ],
)
def test_it_is_said_in_a_sentence(
    config: Path, capsys: pytest.CaptureFixture[str], words: list[str], code: int
) -> None:
    """Which file, and what to do; the exit code is that of a journal that can't be used."""
    assert main([*words, str(config)]) == code
    said = capsys.readouterr().err.splitlines()[-1]
    assert said.endswith(
        "in a folder that this user may not look into; use sudo, as for the service"
    )


def test_taking_an_alarm_says_so_too(config: Path, capsys: pytest.CaptureFixture[str]) -> None:
    """Whoever has it must not be left with an error of ours."""
    assert main(["take", "TH1", "--by", "yard", "--config", str(config)]) == 2
    assert "use sudo" in capsys.readouterr().err


def test_the_check_goes_on(config: Path, capsys: pytest.CaptureFixture[str]) -> None:
    """What can be checked is; what can't is said."""
    assert main(["check", str(config)]) == 0
    said = " ".join(capsys.readouterr().out.split())
    assert "How old the calendar is can't be said" in said
    assert "may not be looked into by this user" in said
    assert "Alarms, and what each is judged from" in said
