"""Copies: whole, of one moment, never over another file, also while the service commits."""

import subprocess
import sys
import tempfile
import threading
from pathlib import Path

import pytest

from brineward.journal import DiskTrouble, Journal, TargetExists
from brineward.readings.outputs import Step
from journal.samples import T0, alarm, plain, reading


@pytest.fixture
def journal(tmp_path: Path):
    """A journal of some hundred pages."""
    with Journal.open(tmp_path / "a.journal") as opened:
        opened.commit([Step(reading(n), (alarm(n, number=n),)) for n in range(2_000)])
        yield opened


def test_a_copy_is_the_journal_in_one_file(journal, tmp_path):
    """It holds the same steps, stands alone without side files, and a service goes on from it."""
    seen = []
    size = journal.copying.backup(tmp_path / "copy", lambda *pages: seen.append(pages))
    assert seen[-1][0] == seen[-1][1] > 0
    expected = list(journal.ordering.steps())
    journal.commit(plain(reading(9_000)))
    assert sorted(one.name for one in tmp_path.glob("copy*")) == ["copy"]
    assert size == (tmp_path / "copy").stat().st_size
    with Journal.open(tmp_path / "copy", check=True, service=True) as copy:
        assert list(copy.ordering.steps()) == expected
        assert copy.commit(plain(reading(9_500))) == 2_001


def test_an_existing_file_is_never_overwritten(journal, tmp_path):
    """The name is taken: a sentence, and the file as it was."""
    (tmp_path / "copy").write_text("mine")
    with pytest.raises(TargetExists, match="not overwritten"):
        journal.copying.backup(tmp_path / "copy")
    assert (tmp_path / "copy").read_text() == "mine"
    with pytest.raises(DiskTrouble, match="can't be written"):
        journal.copying.backup(tmp_path / "none" / "copy")


def test_a_copy_that_fails_leaves_nothing(journal, tmp_path):
    """Stopped midway: no file that somebody could take for a copy."""

    def stop(_copied: int, _pages: int) -> None:
        raise KeyboardInterrupt

    with pytest.raises(KeyboardInterrupt):
        journal.copying.backup(tmp_path / "copy", stop)
    assert list(tmp_path.glob("copy*")) == []
    journal.commit(plain(reading(9_000)))


def test_a_full_target_disk_is_said(journal, tmp_path):
    """The copy's disk is full: announced as that, nothing left behind, the journal goes on."""
    folder = tmp_path / "small"
    folder.mkdir()
    mount = ["mount", "-t", "tmpfs", "-o", "size=200k", "tmpfs", str(folder)]
    if subprocess.run(mount, capture_output=True, check=False).returncode:
        pytest.skip("needs the right to mount a tmpfs (run as root)")
    try:
        with pytest.raises(DiskTrouble) as trouble:
            journal.copying.backup(folder / "copy")
        assert trouble.value.full
        assert list(folder.iterdir()) == []
    finally:
        subprocess.run(["umount", str(folder)], check=True)
    journal.commit(plain(reading(9_000)))


def test_commits_meanwhile_neither_stop_nor_restart_it(journal, tmp_path, monkeypatch):
    """A copy in many small steps beside a busy service ends, with each page copied once."""
    monkeypatch.setattr("brineward.journal.copying._PAGES_A_STEP", 3)
    seen: list[tuple[int, int]] = []
    commits = 0
    path = tmp_path / "a.journal"
    writer = Journal.open(path, service=True)
    last = journal.ordering.last_seq()

    def step(copied: int, pages: int) -> None:
        seen.append((copied, pages))
        nonlocal commits
        if commits < 20:
            commits += 1
            writer.commit([Step(reading(commits, depot="kettle-ridge"), (alarm(T0 + commits),))])

    with Journal.open(path, read_only=True) as reader:
        reader.copying.backup(tmp_path / "copy", step)
    writer.close()
    assert commits == 20
    assert len(seen) > 20
    assert [copied for copied, _ in seen] == sorted({copied for copied, _ in seen})
    with Journal.open(tmp_path / "copy", check=True) as copy:
        assert copy.ordering.last_seq() == last  # the moment at which it began


def test_two_copies_at_once_to_one_name(journal, tmp_path):
    """Of two asked for the same name at the same moment one is made and the other refused."""
    outcomes: list[object] = []

    def make() -> None:
        with Journal.open(tmp_path / "a.journal", read_only=True) as own:
            try:
                outcomes.append(own.copying.backup(tmp_path / "copy"))
            except TargetExists as refused:
                outcomes.append(refused)

    threads = [threading.Thread(target=make) for _ in range(2)]
    for thread in threads:
        thread.start()
    for thread in threads:
        thread.join()
    assert sorted(type(one).__name__ for one in outcomes) == ["TargetExists", "int"]
    Journal.open(tmp_path / "copy", check=True).close()


CHILD = """
import os, sys
from pathlib import Path
from brineward.journal import Journal
from brineward.records import Records
os.setuid(65534)
with Journal.open(Path(sys.argv[1]), read_only=True) as journal:
    print(len(list(journal.ordering.entries())), len(Records(journal.handle).alarms.active()))
"""


def test_somebody_who_may_only_read_can_read():
    """Another user's journal, in a folder that can't be written: read live and at rest."""
    probe = [sys.executable, "-c", "import os, brineward.journal; os.setuid(65534)"]
    if subprocess.run(probe, capture_output=True, check=False).returncode:
        pytest.skip("needs the right to become another user (run as root)")
    # Not pytest's own folder, which only its owner may enter.
    with tempfile.TemporaryDirectory() as name:
        path = Path(name) / "a.journal"
        path.parent.chmod(0o755)
        code = [sys.executable, "-c", CHILD, str(path)]
        Journal.open(path).close()
        path.chmod(0o644)  # its owner has allowed it; the side files follow
        with Journal.open(path) as journal:
            journal.commit([Step(reading(1), (alarm(1),))])
            live = subprocess.run(code, capture_output=True, text=True, check=False)
            assert (live.stdout, live.stderr) == ("1 1\n", "")
        rest = subprocess.run(code, capture_output=True, text=True, check=False)
        assert (rest.stdout, rest.stderr) == ("1 1\n", "")
