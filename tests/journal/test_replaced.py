"""The file behind a handle: deleted, replaced, cut short, under two names, put back from a copy."""

import os
import stat
from pathlib import Path

import pytest

from brineward.journal import (
    Journal,
    JournalReplaced,
    JournalUnusable,
    restore,
)
from brineward.readings.outputs import Step
from journal.samples import T0, alarm, plain, reading, text


@pytest.fixture
def path(tmp_path: Path) -> Path:
    """Where the journal is."""
    return tmp_path / "a.journal"


def test_a_deleted_journal_is_noticed_before_the_next_commit_returns(path):
    """Nothing is acknowledged that went into a file without a name."""
    with Journal.open(path, service=True) as journal:
        journal.commit(plain(reading(1)))
        path.unlink()
        with pytest.raises(JournalReplaced, match=r"a\.journal was deleted while it was in use"):
            journal.commit(plain(reading(2)))


def test_a_journal_deleted_in_the_middle_of_a_commit_is_noticed_by_that_commit(path):
    """Between the first look and the end: the look after the end finds it."""
    with Journal.open(path) as journal:
        journal.commit(plain(reading(1)))
        with pytest.raises(JournalReplaced, match="was deleted"):
            take_away_within(journal)


def take_away_within(journal: Journal) -> None:
    """A write transaction in which somebody deletes the file."""
    with journal.handle.writing() as db:
        db.execute("UPDATE progress SET last_seq = 7")
        journal.path.unlink()


def test_a_replaced_journal_is_noticed(path, tmp_path):
    """A copy put over it while the service runs: commits to the old one are not taken for kept."""
    Journal.open(tmp_path / "other.journal").close()
    with Journal.open(path) as journal:
        journal.commit(plain(reading(1)))
        (tmp_path / "other.journal").replace(path)
        with pytest.raises(JournalReplaced, match="was replaced by another file"):
            journal.inbox.post(reading(2))


@pytest.mark.parametrize("size", [0, 4096])
def test_a_journal_cut_short_is_noticed(path, size):
    """Emptied by a shell's `>` or cut by a tool: said before anything is acknowledged."""
    with Journal.open(path) as journal:
        journal.commit(plain(reading(1)))
        journal.room.checkpoint()
        journal.commit(plain(reading(2)))
        os.truncate(path, size)
        with pytest.raises(JournalReplaced, match="was cut short while it was in use"):
            journal.commit(plain(reading(3)))


def test_a_deleted_write_ahead_file_is_noticed(path):
    """What was committed last lies in it: without its name a restart would not find it."""
    with Journal.open(path) as journal:
        journal.commit(plain(reading(1)))
        path.with_name("a.journal-wal").unlink()
        with pytest.raises(JournalReplaced, match=r"a\.journal-wal was deleted or replaced"):
            journal.commit(plain(reading(2)))


def test_nothing_is_cried_about_a_journal_that_is_well(path):
    """Checkpoints, other handles coming and going and growth are no replacement."""
    with Journal.open(path) as journal:
        for n in range(20):
            journal.commit(plain(*(reading(1_000 * n + k) for k in range(300))))
            with Journal.open(path) as other:
                other.inbox.post(reading(n))
                other.room.checkpoint()
            with Journal.open(path, read_only=True) as reader:
                assert reader.ordering.last_seq() == 300 * (n + 1)


def test_a_disk_that_can_t_be_asked_because_the_file_is_gone_is_no_traceback(path, tmp_path):
    """The size of a journal that was deleted is 0, not an error."""
    with Journal.open(path) as journal:
        path.unlink()
        assert journal.room.wal_bytes() > 0


def test_a_link_leads_to_the_same_lock(path, tmp_path):
    """Two configs with two names of one file are still one journal: one service at a time."""
    link = tmp_path / "link.journal"
    link.symlink_to(path)
    with Journal.open(path, service=True):
        with pytest.raises(JournalUnusable, match="in use by another brineward service"):
            Journal.open(link, service=True)
        assert Journal.open(link).path == path
    with Journal.open(link, service=True), pytest.raises(JournalUnusable, match="in use"):
        Journal.open(path, service=True)
    (tmp_path / "round").symlink_to(tmp_path / "round")
    with pytest.raises(JournalUnusable, match="can't be"):
        Journal.open(tmp_path / "round")


def test_files_are_for_their_owner_alone(path, tmp_path):
    """Names and numbers are in them: journal, side files, lock, reserve and copy are 0600."""
    before = os.umask(0)
    try:
        with Journal.open(path, service=True) as journal:
            journal.commit(plain(reading(1)))
            journal.room.lay_reserve(1_000)
            journal.copying.backup(tmp_path / "copy")
            modes = {one.name: stat.S_IMODE(one.stat().st_mode) for one in tmp_path.iterdir()}
    finally:
        os.umask(before)
    assert set(modes) >= {"a.journal", "a.journal-wal", "a.journal.lock", "a.journal.reserve"}
    assert set(modes.values()) == {0o600}, modes


def copied(path: Path, target: Path) -> str:
    """A journal with an alarm and a text, a copy of it, and the key of that text."""
    with Journal.open(path) as journal:
        journal.commit([Step(reading(1), (alarm(1), text(1, 1)))])
        journal.copying.backup(target)
        journal.commit(plain(reading(2)))
        return journal.outbox.texts_open(T0 + 9)[0].key


def test_a_copy_is_put_back_and_the_journal_set_aside(path, tmp_path):
    """What the copy holds is there again; what came since lies beside it, nothing is deleted."""
    copy = tmp_path / "copy"
    key = copied(path, copy)
    aside = restore(path, copy, T0)
    assert aside == tmp_path / "a.journal.replaced-20260101-000000"
    with Journal.open(path, check=True) as journal:
        assert list(journal.ordering.entries()) == [reading(1)]
        (due,) = journal.outbox.texts_open(T0 + 9)
        # Its ids are given again, its keys are not: a gateway must not drop the new texts.
        assert due.key != key
        assert journal.resuming.last_numbers("tern-hollow") == (12, 0)
    with Journal.open(aside, read_only=True) as old:
        assert list(old.ordering.entries()) == [reading(1), reading(2)]
    with Journal.open(copy, read_only=True) as still:
        assert still.outbox.texts_open(T0 + 9)[0].key == key


def test_nothing_is_put_back_while_a_service_runs(path, tmp_path):
    """Stop it first: said, and not a byte changed."""
    copied(path, tmp_path / "copy")
    with Journal.open(path, service=True) as journal:
        with pytest.raises(JournalUnusable, match="in use by another brineward service"):
            restore(path, tmp_path / "copy", T0)
        journal.commit(plain(reading(3)))
    assert not list(tmp_path.glob("*.replaced-*"))
    assert not list(tmp_path.glob("*.restored*"))


def test_what_is_no_whole_copy_is_not_put_back(path, tmp_path):
    """A missing file, a config, a damaged copy: a sentence, and the journal as it was."""
    copy = tmp_path / "copy"
    copied(path, copy)
    spoilt = tmp_path / "spoilt"
    whole = copy.read_bytes()
    spoilt.write_bytes(whole[: 3 * 4096] + b"\xa5" * 8192 + whole[5 * 4096 :])
    (tmp_path / "words").write_text("[journal]\n" * 100)
    for name in ("missing", "words", "spoilt"):
        with pytest.raises(JournalUnusable):
            restore(path, tmp_path / name, T0)
    with Journal.open(path, check=True) as journal:
        assert list(journal.ordering.entries()) == [reading(1), reading(2)]
    assert not list(tmp_path.glob("*.restored*"))
    assert not list(tmp_path.glob("*.replaced-*"))


def test_a_journal_that_was_lost_is_put_back(path, tmp_path):
    """Where there is none any more, there is nothing to set aside."""
    copied(path, tmp_path / "copy")
    for one in tmp_path.glob("a.journal*"):
        one.unlink()
    assert restore(path, tmp_path / "copy", T0) is None
    with Journal.open(path, check=True) as journal:
        assert list(journal.ordering.entries()) == [reading(1)]


def test_two_restores_within_a_second_keep_both_files(path, tmp_path):
    """Names aside are never given twice."""
    copied(path, tmp_path / "copy")
    first, second = (restore(path, tmp_path / "copy", T0) for _ in range(2))
    assert first != second
    assert first is not None
    assert second is not None
    assert first.exists()
    assert second.exists()


def test_a_side_file_of_the_old_journal_is_never_mixed_into_the_new(path, tmp_path):
    """A crash left a write-ahead file: it goes with its own journal, not with the copy."""
    copy = tmp_path / "copy"
    copied(path, copy)
    journal = Journal.open(path)
    journal.commit(plain(reading(3)))
    kept = {one: one.read_bytes() for one in tmp_path.glob("a.journal*")}
    journal.close()
    for one, raw in kept.items():  # as a power cut leaves it
        one.write_bytes(raw)
    aside = restore(path, copy, T0)
    assert aside is not None
    with Journal.open(path, check=True) as new:
        assert list(new.ordering.entries()) == [reading(1)]
    with Journal.open(aside) as old:
        assert list(old.ordering.entries()) == [reading(1), reading(2), reading(3)]
