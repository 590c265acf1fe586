"""`brineward backup`: a checked copy, named, never over another."""

import argparse
import contextlib
import os
import pty
import subprocess
import sys
import termios
from pathlib import Path

import pytest

from brineward.commands import backup
from brineward.config.load import load_settings
from brineward.journal import Journal
from brineward.readings.instants import instant_from_rfc3339
from journal.samples import plain, reading

EXAMPLE = Path(__file__).parents[2] / "config" / "smallest.toml"


@pytest.fixture
def config(tmp_path: Path) -> Path:
    """The smallest config with its journal beside it."""
    path = tmp_path / "smallest.toml"
    path.write_text(EXAMPLE.read_text())
    return path


def told(capsys, *words: str) -> tuple[int, str, str]:
    """Exit code, output and errors of the command."""
    parser = argparse.ArgumentParser()
    backup.add_parser(parser.add_subparsers())
    arguments = parser.parse_args(["backup", *words])
    code = arguments.run(arguments)
    said = capsys.readouterr()
    return code, said.out, said.err


def test_a_copy_is_made_while_the_service_holds_the_journal(config, tmp_path, capsys):
    """The running service is not disturbed, and the copy holds what was committed."""
    with Journal.open(load_settings(config).journal.path, service=True) as journal:
        journal.commit(plain(reading(1)))
        code, out, err = told(capsys, str(config), "-o", str(tmp_path / "copy.journal"))
        journal.commit(plain(reading(2)))
    assert (code, err) == (backup.DONE, "")
    assert "copy.journal" in out
    assert "checked" in out
    with Journal.open(tmp_path / "copy.journal", check=True) as copy:
        assert list(copy.ordering.entries()) == [reading(1)]


def test_without_a_name_the_time_names_it(config, tmp_path, capsys):
    """Two nights' copies don't fight for one name."""
    now = instant_from_rfc3339("2026-01-01T12:00:00.500Z")
    named = backup.named_by_time(Path("/var/depot.journal"), now)
    assert named == Path("/var/depot-20260101T120000Z.journal")
    Journal.open(load_settings(config).journal.path).close()
    assert told(capsys, str(config))[0] == backup.DONE
    assert len(list(tmp_path.glob("smallest-*Z.journal"))) == 1


def test_refusals_are_sentences(config, tmp_path, capsys):
    """No journal, a taken name, a folder that isn't there: said, and ended with 2."""
    target = tmp_path / "copy.journal"
    code, _, err = told(capsys, str(config), "-o", str(target))
    assert (code, target.exists()) == (backup.FAILED, False)
    assert "has the service ever run?" in err
    Journal.open(load_settings(config).journal.path).close()
    target.write_text("mine")
    code, _, err = told(capsys, str(config), "-o", str(target))
    assert code == backup.FAILED
    assert "not overwritten" in err
    assert target.read_text() == "mine"
    code, _, err = told(capsys, str(config), "-o", str(tmp_path / "none" / "x"))
    assert code == backup.FAILED
    assert "can't be written" in err


WATCHED = """
import sys, types
from pathlib import Path
from brineward.commands import backup
from brineward.journal import Journal
backup._QUIET_SECONDS = 0.0
sys.exit(backup.run(types.SimpleNamespace(config=Path(sys.argv[1]), output=Path(sys.argv[2]))))
"""


def test_a_long_copy_shows_how_far_it_is(config, tmp_path):
    """At a terminal the pages are counted up; the two seconds of patience are set to none here."""
    with Journal.open(load_settings(config).journal.path) as journal:
        journal.commit(plain(*(reading(n) for n in range(60_000))))
    ours, theirs = pty.openpty()
    termios.tcsetwinsize(theirs, (24, 80))
    command = [sys.executable, "-c", WATCHED, str(config), str(tmp_path / "copy")]
    with subprocess.Popen(command, stdout=subprocess.PIPE, stderr=theirs) as copying:
        os.close(theirs)
        shown = b""
        with contextlib.suppress(OSError):  # Linux's way to say that the other end has closed
            while part := os.read(ours, 4096):
                shown += part
        os.close(ours)
    assert copying.returncode == backup.DONE
    assert b"copying" in shown
    assert b" pages" in shown
