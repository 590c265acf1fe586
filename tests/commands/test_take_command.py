"""`brineward take`: what it does, prints and ends with."""

import argparse
import getpass
from collections.abc import Iterator
from pathlib import Path

import pytest

from active import commit, raised, takes
from brineward.clock import MachineClock
from brineward.commands import take
from brineward.config.load import load_settings
from brineward.journal.journal import Journal
from brineward.readings.outputs import AlarmState
from services import write_config


def main(arguments: list[str]) -> int:
    """The command's exit code."""
    parser = argparse.ArgumentParser()
    take.add_parser(parser.add_subparsers())
    args = parser.parse_args(arguments)
    return int(args.run(args))


@pytest.fixture
def config(tmp_path: Path) -> Path:
    """Tern Hollow, with a yard lead and a dispatch desk on call."""
    return write_config(tmp_path, 1883)


@pytest.fixture
def journal(config: Path) -> Iterator[Journal]:
    """Its journal, with TH2 active."""
    with Journal.open(load_settings(config).journal.path) as opened:
        commit(opened, raised(2, MachineClock().now()))
        yield opened


@pytest.mark.parametrize("by", ["yard", "Yard lead", "yard LEAD"])
def test_the_person_is_named_by_id_or_name(
    by: str, config: Path, journal: Journal, capsys: pytest.CaptureFixture[str]
) -> None:
    """Whoever sits at the keyboard reads who has what."""
    assert main(["take", "th2", "--by", by, "--config", str(config)]) == 0
    said = "Yard lead has TH2 now: main tank near overflow, 7.55 ft (limit 7.38).\n"
    assert capsys.readouterr().out == said
    assert takes(journal) == [(2, "yard")]


def test_a_login_that_is_on_call_needs_no_by(
    config: Path, journal: Journal, monkeypatch: pytest.MonkeyPatch
) -> None:
    """The yard lead's own login will do."""
    monkeypatch.setattr(getpass, "getuser", lambda: "yard")
    assert main(["take", "TH2", "--config", str(config)]) == 0
    assert takes(journal) == [(2, "yard")]


@pytest.mark.parametrize("by", ["root", "nobody", "yar"])
def test_nobody_takes_who_is_not_on_call(
    by: str,
    config: Path,
    journal: Journal,
    monkeypatch: pytest.MonkeyPatch,
    capsys: pytest.CaptureFixture[str],
) -> None:
    """The calls go on, and the sentence says who is on call."""
    monkeypatch.setattr(getpass, "getuser", lambda: by)
    for more in ([], ["--by", by]):
        assert main(["take", "TH2", "--config", str(config), *more]) == 2
        assert capsys.readouterr().err == (
            f"{by} is not on call at Tern Hollow; say who has it: "
            "--by yard (Yard lead) or dispatch (Dispatch desk)\n"
        )
    assert takes(journal) == []


def test_what_cannot_be_taken_is_said(
    config: Path, journal: Journal, capsys: pytest.CaptureFixture[str]
) -> None:
    """Not active, or somebody has it: exit code 1 and one plain sentence."""
    had = raised(3, MachineClock().now(), AlarmState.ACKNOWLEDGED, by="Yard lead")
    commit(journal, had)
    more = ["--by", "dispatch", "--config", str(config)]
    assert main(["take", "TH9", *more]) == 1
    assert capsys.readouterr().out == "TH9 is not active.\n"
    assert main(["take", "TH3", *more]) == 1
    assert capsys.readouterr().out.startswith("Yard lead has TH3 since ")
    assert takes(journal) == []


def test_what_is_no_code_is_refused(config: Path, capsys: pytest.CaptureFixture[str]) -> None:
    """A bad call names what was expected."""
    for code in ("nonsense", "TH", "TH\u0661", "TH" + "9" * 5000):
        assert main(["take", code, "--by", "yard", "--config", str(config)]) == 2
        assert f"{code!r} is not a code; expected something like TH12" in capsys.readouterr().err


def test_without_a_journal_none_is_made(config: Path, capsys: pytest.CaptureFixture[str]) -> None:
    """A take on the wrong machine leaves no empty journal behind that root owns."""
    assert main(["take", "TH2", "--by", "yard", "--config", str(config)]) == 2
    assert "There is no journal at" in capsys.readouterr().err
    assert not load_settings(config).journal.path.exists()


def test_a_login_that_the_machine_does_not_know(
    config: Path, monkeypatch: pytest.MonkeyPatch, capsys: pytest.CaptureFixture[str]
) -> None:
    """In a container there may be none: a sentence, no traceback."""

    def nobody() -> str:
        raise KeyError("getpwuid(): uid not found: 4242")

    monkeypatch.setattr(getpass, "getuser", nobody)
    assert main(["take", "TH2", "--config", str(config)]) == 2
    assert capsys.readouterr().err.startswith("You are not on call at Tern Hollow; say who has it")
