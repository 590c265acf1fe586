"""`brineward restore`: a copy put back, and nothing lost by it."""

import argparse
from pathlib import Path

import pytest

from brineward.commands import backup, restore
from brineward.config.load import load_settings
from brineward.journal import Journal
from journal.samples import plain, reading

EXAMPLE = Path(__file__).parents[2] / "config" / "smallest.toml"


@pytest.fixture
def config(tmp_path: Path) -> Path:
    """The smallest config with its journal beside it."""
    path = tmp_path / "smallest.toml"
    path.write_text(EXAMPLE.read_text())
    return path


def told(capsys: pytest.CaptureFixture[str], *words: str) -> tuple[int, str, str]:
    """Exit code, output and errors of a command."""
    parser = argparse.ArgumentParser()
    subparsers = parser.add_subparsers()
    for command in (backup, restore):
        command.add_parser(subparsers)
    arguments = parser.parse_args(words)
    code = arguments.run(arguments)
    said = capsys.readouterr()
    return code, said.out, said.err


def test_a_backup_comes_back(config, tmp_path, capsys):
    """What `backup` copied is the journal again; the one before is named, and whole."""
    path, copy = load_settings(config).journal.path, tmp_path / "copy.journal"
    with Journal.open(path) as journal:
        journal.commit(plain(reading(1)))
        assert told(capsys, "backup", str(config), "-o", str(copy))[0] == backup.DONE
        journal.commit(plain(reading(2)))
    code, out, err = told(capsys, "restore", str(config), str(copy))
    assert (code, err) == (restore.DONE, "")
    assert "put back from" in out
    (aside,) = tmp_path.glob("*.replaced-*")
    assert aside.name in out
    with Journal.open(path, check=True) as journal, Journal.open(aside) as old:
        assert list(journal.ordering.entries()) == [reading(1)]
        assert list(old.ordering.entries()) == [reading(1), reading(2)]


def test_refusals_are_sentences(config, tmp_path, capsys):
    """A running service, no such copy: said, ended with 2, nothing changed."""
    path, copy = load_settings(config).journal.path, tmp_path / "copy.journal"
    with Journal.open(path, service=True) as journal:
        journal.commit(plain(reading(1)))
        journal.copying.backup(copy)
        code, _, err = told(capsys, "restore", str(config), str(copy))
        assert code == restore.FAILED
        assert "in use by another brineward service" in err
        journal.commit(plain(reading(2)))
    code, _, err = told(capsys, "restore", str(config), str(tmp_path / "none"))
    assert code == restore.FAILED
    assert "is not a file" in err
    with Journal.open(path, check=True) as journal:
        assert list(journal.ordering.entries()) == [reading(1), reading(2)]
