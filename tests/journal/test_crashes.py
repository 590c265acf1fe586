"""Killed, out of room, damaged, contended: all or nothing, and in plain words."""

import os
import random
import signal
import sqlite3
import subprocess
import sys
import threading
from pathlib import Path

import pytest

from brineward.journal import DiskTrouble, Journal, JournalDamaged, JournalUnusable
from brineward.readings.outputs import Step
from brineward.readings.values import Reading
from journal.samples import T0, alarm, asked, plain, reading, text
from journal.writer import steps_of

WRITER = Path(__file__).with_name("writer.py")
SIZE = 40


def killed_after(path: Path, first: int, lines: int, extra_seconds: float) -> int:
    """Let a writer tell so many commits, kill it a moment later; the last batch it told."""
    command = [sys.executable, str(WRITER), str(path), str(SIZE), str(first)]
    with subprocess.Popen(command, stdout=subprocess.PIPE, text=True) as writer:
        told = [writer.stdout.readline() for _ in range(1 + lines)]
        killer = threading.Timer(extra_seconds, lambda: os.kill(writer.pid, signal.SIGKILL))
        killer.start()
        told += writer.stdout.readlines()
        killer.join()
    # The last line may be cut short by the kill.
    whole = [line for line in told if line.endswith("\n")]
    return int(whole[-1])


def test_a_killed_writer_leaves_whole_batches_only(tmp_path):
    """Killed at random moments, twelve times over: what it told is there, and no half batch."""
    path = tmp_path / "a.journal"
    draw = random.Random(11)
    first = 0
    for _ in range(12):
        told = killed_after(path, first, draw.randrange(1, 4), draw.random() * 0.02)
        with Journal.open(path, check=True) as journal:
            steps = [Step(placed.entry, placed.outputs) for placed in journal.ordering.steps()]
            count, rest = divmod(len(steps), SIZE)
            assert rest == 0
            assert steps == [step for batch in range(count) for step in steps_of(batch, SIZE)]
            assert count in (told + 1, told + 2)  # the one after may have been committed untold
            resumed = journal.resuming.resume(["tern-hollow"])
            assert resumed.states == {"tern-hollow": b"%d" % (count - 1)}
            assert list(resumed.tail) == []
            assert len(asked(journal).texts.newest(limit=count + 1)) == count
            assert len(journal.inbox.waiting()) <= 1
        # Told again from a batch that is there already, as a broker does: nothing twice.
        first = max(0, count - 1)


def test_a_full_disk_keeps_nothing_of_the_batch_and_works_again(tmp_path):
    """Out of room: the batch is refused whole, and the same handle takes it once there is room."""
    with Journal.open(tmp_path / "a.journal") as journal:
        journal.commit(plain(reading(0, sensor="first")))
        pages = journal.handle._db.execute("PRAGMA page_count").fetchone()[0]
        journal.handle._db.execute(f"PRAGMA max_page_count = {pages + 2}")
        many = [Step(reading(n), (text(n, n), alarm(n, number=n))) for n in range(400)]
        with pytest.raises(DiskTrouble, match="disk is full") as trouble:
            journal.commit(many, states={"tern-hollow": b"1"})
        assert trouble.value.full
        assert [one.sensor for one in journal.ordering.entries()] == ["first"]
        assert asked(journal).texts.newest() == []
        journal.handle._db.execute("PRAGMA max_page_count = 1000000")
        journal.commit(many)
        assert [Step(one.entry, one.outputs) for one in journal.ordering.steps(2)] == many


@pytest.fixture
def small_disk(tmp_path: Path):
    """A file system of two megabytes in memory; needs the right to mount."""
    folder = tmp_path / "small"
    folder.mkdir()
    mount = ["mount", "-t", "tmpfs", "-o", "size=2m", "tmpfs", str(folder)]
    if subprocess.run(mount, capture_output=True, check=False).returncode:
        pytest.skip("needs the right to mount a tmpfs (run as root)")
    yield folder
    subprocess.run(["umount", str(folder)], check=True)


def batch_of(number: int) -> list[Reading]:
    """A hundred readings."""
    return [reading(number * 100 + n, float(n)) for n in range(100)]


def test_a_really_full_disk_gives_way_to_the_reserve(small_disk):
    """A disk filled to the last byte: the reserve is given up, the oldest go, work goes on."""
    with Journal.open(small_disk / "a.journal") as journal:
        assert journal.room.lay_reserve(500_000)
        number, trouble = 0, None
        while trouble is None:
            steps = [*plain(*batch_of(number)), Step(reading(number, sensor="x"), (alarm(number),))]
            try:
                journal.commit(steps, states={"tern-hollow": b""})
                number += 1
            except DiskTrouble as full:
                trouble = full
        assert trouble.full
        assert number > 20
        alarms = asked(journal).alarms.history("tern-hollow")
        assert len(alarms) == number
        kept = list(journal.ordering.entries())
        assert journal.room.give_up_reserve()
        done = journal.thinning.thin_oldest(100_000)
        assert done.freed_bytes >= 100_000
        journal.commit(plain(*batch_of(number)))
        assert asked(journal).alarms.history("tern-hollow") == alarms
        assert not journal.room.lay_reserve(4_000_000)  # no room for so much, and no error
        left = list(journal.ordering.entries())
        assert left == [*kept[done.rows :], *batch_of(number)]


def test_other_files_are_refused_and_left_alone(tmp_path):
    """A config, a picture, another program's database: a sentence, and not a byte changed."""
    other = tmp_path / "other.db"
    db = sqlite3.connect(other)
    db.execute("CREATE TABLE theirs (x)")
    db.commit()
    db.close()
    words = tmp_path / "depot.toml"
    words.write_text("[journal]\npath = 'a'\n")
    for path, sentence in (
        (other, "database of another program"),
        (words, "is not a journal: it starts with"),
        (tmp_path, "is a folder"),
        (tmp_path / "none" / "a.journal", "folder of .* does not exist"),
    ):
        before = path.read_bytes() if path.is_file() else None
        with pytest.raises(JournalUnusable, match=sentence):
            Journal.open(path)
        assert before == (path.read_bytes() if path.is_file() else None)
    with pytest.raises(JournalUnusable, match="has the service ever run"):
        Journal.open(tmp_path / "missing.journal", read_only=True)
    assert not (tmp_path / "missing.journal").exists()


def test_a_newer_file_is_refused(tmp_path):
    """Tables of a later version are not touched by an older one."""
    path = tmp_path / "a.journal"
    Journal.open(path).close()
    db = sqlite3.connect(path)
    db.execute("PRAGMA user_version = 99")
    db.close()
    for read_only in (False, True):
        with pytest.raises(JournalUnusable, match=r"written by a newer brineward \(version 99"):
            Journal.open(path, read_only=read_only)


def test_a_damaged_file_is_found_at_the_start(tmp_path):
    """A page of rubbish in the middle: the check says so."""
    path = tmp_path / "a.journal"
    with Journal.open(path) as journal:
        journal.commit(plain(*(reading(n, float(n)) for n in range(3_000))))
        journal.room.checkpoint()
    whole = path.read_bytes()
    middle = len(whole) // 2 // 4096 * 4096
    path.write_bytes(whole[:middle] + b"\xa5" * 4096 + whole[middle + 4096 :])
    with pytest.raises(JournalDamaged, match=r"a\.journal is damaged \("):
        Journal.open(path, check=True)
    # The lock is free again: the operator puts a copy back and starts the service.
    path.write_bytes(whole)
    Journal.open(path, check=True, service=True).close()


def test_damage_met_while_running_is_told_apart_from_a_full_disk(tmp_path):
    """Rubbish where rows were: reading says damaged, never an error of SQLite's own."""
    path = tmp_path / "a.journal"
    with Journal.open(path) as journal:
        journal.commit(plain(*(reading(n, float(n)) for n in range(5_000))))
        journal.room.checkpoint()
    whole = bytearray(path.read_bytes())
    for page in range(60, len(whole) // 4096 - 5):
        whole[page * 4096 : page * 4096 + 4096] = b"\xa5" * 4096
    path.write_bytes(whole)
    with Journal.open(path) as journal, pytest.raises(JournalUnusable, match="damaged"):
        list(journal.ordering.entries())


def test_one_service_at_a_time(tmp_path):
    """A second service on the same journal is refused; the texts' own handle is not."""
    path = tmp_path / "a.journal"
    with Journal.open(path, service=True):
        with pytest.raises(JournalUnusable, match="in use by another brineward service"):
            Journal.open(path, service=True)
        Journal.open(path).close()
    Journal.open(path, service=True).close()


def test_a_held_file_is_disk_trouble_and_the_batch_can_be_repeated(tmp_path):
    """Another program holding the file too long: said so, nothing half, then it works."""
    path = tmp_path / "a.journal"
    with Journal.open(path) as journal:
        journal.handle._db.execute("PRAGMA busy_timeout = 50")
        other = sqlite3.connect(path, isolation_level=None)
        other.execute("BEGIN IMMEDIATE")
        with pytest.raises(DiskTrouble, match="another program has held") as trouble:
            journal.commit(plain(reading(1)))
        assert not trouble.value.full
        other.execute("ROLLBACK")
        other.close()
        journal.commit(plain(reading(1)))
        assert list(journal.ordering.entries()) == [reading(1)]


def test_everybody_at_once(tmp_path):
    """Service, texts, a reader and a copy on one file: no error, no text lost, whole copies."""
    path = tmp_path / "a.journal"
    batches, failures = 60, []
    done = threading.Event()

    def guarded(work):
        def run():
            try:
                with Journal.open(path) as journal:
                    work(journal)
            except Exception as error:  # noqa: BLE001 - told by the assertion below
                failures.append(error)
                done.set()

        return threading.Thread(target=run)

    def serve(journal):
        for batch in range(batches):
            waiting = journal.inbox.waiting()
            steps = steps_of(batch, SIZE) + plain(*(entry for _, entry in waiting))
            journal.commit(steps, inbox_done=[number for number, _ in waiting])
            if batch % 10 == 0:
                journal.room.checkpoint()
        done.set()

    def send(journal):
        while not done.is_set() or journal.outbox.next_text_at() is not None:
            for one in journal.outbox.texts_open(T0 + 10**9):
                journal.outbox.record_attempt(one.id, T0)
                journal.outbox.record_accepted(one.id, T0, "r")

    def look(journal):
        while not done.is_set():
            seen = journal.ordering.last_seq()
            assert len(list(journal.ordering.entries())) >= seen
            asked(journal).alarms.active()
            asked(journal).readings.latest("tern-hollow")

    def copy(journal):
        count = 0
        while not done.is_set():
            count += 1
            journal.copying.backup(tmp_path / f"copy-{count}.journal")

    Journal.open(path).close()
    threads = [guarded(work) for work in (serve, send, look, copy)]
    for thread in threads:
        thread.start()
    for thread in threads:
        thread.join()
    assert failures == []
    with Journal.open(path) as journal:
        assert asked(journal).texts.counts() == {"open": 0, "accepted": batches, "dead": 0}
        told = [one.text for one in journal.ordering.entries() if not isinstance(one, Reading)]
        told += [entry.text for _, entry in journal.inbox.waiting(1_000)]
        assert sorted(told) == sorted(one.id for one in asked(journal).texts.newest(limit=1_000))
    copies = list(tmp_path.glob("copy-*.journal"))
    assert copies
    for made in copies:
        with Journal.open(made, read_only=True, check=True) as journal:
            readings = [one for one in journal.ordering.entries() if isinstance(one, Reading)]
            assert len(readings) % SIZE == 0  # a copy is of one moment between two commits
