"""What root makes beside a journal: the service, another user, may open all of it afterwards."""

import os
import subprocess
import sys
import tempfile
from collections.abc import Iterator
from pathlib import Path

import pytest

from brineward.commands.main import main
from brineward.journal import Journal
from brineward.page.sessions import key_beside
from checkout import ROOT
from journal.samples import plain, reading

SERVICE = 65534
"""The service's user here: any that is not root."""

AS_THE_SERVICE = f"""
import os, sys
from pathlib import Path
from brineward.journal import JournalUnusable, open_or_salvage
from brineward.journal.session import LinkSession
from brineward.page.sessions import key_beside
os.setgroups([])
os.setgid({SERVICE})
os.setuid({SERVICE})
path = Path(sys.argv[1])
LinkSession(path)
key_beside(path)
try:
    journal, _ = open_or_salvage(path, 0)
except JournalUnusable as why:
    sys.exit(print(why))
with journal:
    print(len(list(journal.ordering.entries())), journal.room.lay_reserve(1000))
"""

pytestmark = pytest.mark.skipif(
    os.geteuid() != 0, reason="needs the right to become another user (run as root)"
)


@pytest.fixture
def path() -> Iterator[Path]:
    """Where the journal is: in a folder of the service's, as StateDirectory makes it."""
    # Not in pytest's own folder, which only its owner may enter.
    with tempfile.TemporaryDirectory() as name:
        folder = Path(name) / "brineward"
        folder.mkdir()
        folder.parent.chmod(0o755)
        os.chown(folder, SERVICE, SERVICE)
        yield folder / "a.journal"


@pytest.fixture
def config(path: Path, tmp_path: Path) -> Path:
    """The standard depot's config, with that journal."""
    text = (ROOT / "config" / "tern-hollow.toml").read_text()
    file = tmp_path / "tern-hollow.toml"
    file.write_text(text.replace('path = "tern-hollow.journal"', f'path = "{path}"'))
    assert str(path) in file.read_text()
    return file


def as_the_service(path: Path) -> str:
    """What the service's start finds."""
    done = subprocess.run(
        [sys.executable, "-c", AS_THE_SERVICE, str(path)],
        capture_output=True,
        text=True,
        check=False,
        timeout=60,
    )
    assert done.stderr == ""
    return done.stdout


def others(path: Path) -> list[str]:
    """The files beside the journal that do not belong to the service alone."""
    states = {file.name: file.stat() for file in path.parent.iterdir()}
    return [
        name
        for name, state in states.items()
        if (state.st_uid, state.st_gid, state.st_mode & 0o077) != (SERVICE, SERVICE, 0)
    ]


@pytest.mark.parametrize("before", ["none", "at rest", "killed"])
def test_the_service_starts_with_what_root_put_back(
    path: Path, config: Path, tmp_path: Path, before: str
) -> None:
    """`sudo brineward restore`, then the service's start: it has the copy, and each file beside it
    is its own, also those that a killed service left and that are set aside."""
    copy = tmp_path / "copy.journal"
    with Journal.open(tmp_path / "its.journal") as journal:
        journal.commit(plain(reading(1)))
        journal.copying.backup(copy)
    if before != "none":
        journal = Journal.open(path)
        journal.commit(plain(reading(2)))
        if before == "killed":
            aside = path.with_name(path.name + "-wal")
            log = aside.read_bytes()
            journal.close()
            aside.write_bytes(log)
            os.chown(aside, SERVICE, SERVICE)
            aside.chmod(0o600)
        journal.close()
    assert main(["restore", str(config), str(copy)]) == 0
    assert others(path) == []
    assert as_the_service(path) == "1 True\n"


def test_the_service_starts_with_a_journal_that_root_made(path: Path) -> None:
    """Whoever runs the service or the page once by hand, as root, locks nobody out."""
    key_beside(path)
    with Journal.open(path, service=True) as journal:
        journal.commit(plain(reading(1)))
    assert others(path) == []
    assert as_the_service(path) == "1 True\n"


@pytest.mark.parametrize("ending", [".lock", "", "-wal", "-shm"])
def test_a_file_of_root_that_stops_the_service_is_named_with_the_command_that_mends_it(
    path: Path, ending: str
) -> None:
    """Which file, whose it is, and one command after which the service starts."""
    journal = Journal.open(path)
    journal.commit(plain(reading(1)))
    for file in path.parent.iterdir():
        os.chown(file, SERVICE, SERVICE)
    file = path.with_name(path.name + ending)
    file.touch()
    os.chown(file, 0, 0)
    file.chmod(0o600)
    said = as_the_service(path)
    command = f"sudo chown -h nobody {file}"
    assert said.startswith(f"{file} belongs to root, and this user, nobody, may not open it;")
    assert command in said
    subprocess.run(command.split()[1:], check=True)
    assert as_the_service(path) == "1 True\n"
    journal.close()


def test_a_file_that_was_there_is_given_to_nobody(path: Path, tmp_path: Path) -> None:
    """Whoever may write to the folder can lay a link in it: what it leads to stays root's."""
    secret = tmp_path / "secret"
    secret.write_text("")
    path.with_name(path.name + ".lock").symlink_to(secret)
    Journal.open(path, service=True).close()
    assert secret.stat().st_uid == 0


@pytest.mark.parametrize(
    "words",
    [
        ["record", "CONFIG", "salt 20 tons", "--by", "yard"],
        ["calibrate", "CONFIG", "--salometer", "85", "--temperature", "60 F", "--by", "yard"],
    ],
)
def test_without_a_journal_none_is_made(
    path: Path, config: Path, capsys: pytest.CaptureFixture[str], words: list[str]
) -> None:
    """What is entered before the service ever ran, or on the wrong machine, is refused."""
    assert main([str(config) if word == "CONFIG" else word for word in words]) == 2
    assert "There is no journal at" in capsys.readouterr().err
    assert not path.exists()
