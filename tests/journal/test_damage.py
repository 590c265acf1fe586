"""A damaged journal: every part that can be read is saved, and the watch goes on."""

import random
import sqlite3
import stat
import subprocess
import sys
import tempfile
from pathlib import Path

import pytest

from brineward.journal import Journal, JournalDamaged, JournalUnusable, open_or_salvage
from brineward.readings.entries import Started
from brineward.readings.outputs import Step
from journal.samples import T0, alarm, asked, derived, episode, plain, reading, take, text
from journal.test_migrating import ROWS, VERSION_1, VERSION_2

PAGE = 4096
RUBBISH = b"\xa5" * PAGE
NOW = T0 + 1_000_000_000  # 2026-01-12T13:46:40Z


def filled(path: Path, count: int = 4_000) -> None:
    """A journal of some hundred pages with everything in it, in one file."""
    with Journal.open(path) as journal:
        started = Started(time=T0, version="1", config_hash="", zone_data="")
        journal.commit(plain(started))
        for first in range(0, count, 500):
            steps = [
                Step(
                    reading(n, float(n)),
                    (derived(n), alarm(n, number=n), text(n, n), episode(n, began=T0 + n)),
                )
                for n in range(first, first + 500)
            ]
            journal.commit([*steps, *plain(take(first))], states={"tern-hollow": b"%d" % first})
        journal.inbox.post(take(count, number=count))
        journal.room.checkpoint()


def spoil(path: Path, *pages: int) -> None:
    """Overwrite pages, counted from 1, with rubbish."""
    whole = bytearray(path.read_bytes())
    for page in pages:
        whole[(page - 1) * PAGE : page * PAGE] = RUBBISH
    path.write_bytes(whole)


def pages_of(path: Path, table: str) -> list[int]:
    """Which pages a table lies on: found by what changes when it is dropped from a copy."""
    db = sqlite3.connect(path)
    (root,) = db.execute("SELECT rootpage FROM sqlite_schema WHERE name = ?", (table,)).fetchone()
    db.close()
    raw = path.read_bytes()

    def below(page: int) -> list[int]:
        at = (page - 1) * PAGE + (100 if page == 1 else 0)
        kind, cells = raw[at], int.from_bytes(raw[at + 3 : at + 5])
        if kind not in (2, 5):  # a leaf; interior pages list their children
            return [page]
        found = [page]
        for n in range(cells):
            cell = int.from_bytes(raw[at + 12 + 2 * n : at + 14 + 2 * n])
            start = (page - 1) * PAGE + cell
            found += below(int.from_bytes(raw[start : start + 4]))
        return found + below(int.from_bytes(raw[at + 8 : at + 12]))

    return below(root)


def test_a_whole_journal_is_opened_as_it_is(tmp_path):
    """Nothing is set aside, nothing reported, and the lock is held."""
    path = tmp_path / "a.journal"
    filled(path, 500)
    journal, report = open_or_salvage(path, NOW)
    with journal:
        assert report is None
        assert journal.ordering.last_seq() == 502
        with pytest.raises(JournalUnusable, match="in use by another"):
            open_or_salvage(path, NOW)
    assert not list(tmp_path.glob("*.damaged-*"))


def test_one_lost_page_costs_what_lies_on_it(tmp_path):
    """A page of readings is rubbish: all others are saved, and so is everything else."""
    path = tmp_path / "a.journal"
    filled(path)
    lost = pages_of(path, "reading")
    spoil(path, lost[len(lost) // 2])
    before = path.read_bytes()
    journal, report = open_or_salvage(path, NOW)
    with journal:
        left = asked(journal).readings.between("tern-hollow", "main-level", 0, NOW)
        assert 3_500 < len(left) < 4_000  # some hundred rows fill a page
        assert all(one == reading(one.time - T0, float(one.time - T0)) for one in left)
        assert len(asked(journal).alarms.history("tern-hollow")) == 4_000
        assert len(asked(journal).episodes.between("tern-hollow")) == 4_000
        assert len(asked(journal).acts.between("tern-hollow")) == 8
        assert len(journal.outbox.texts_open(NOW, 5_000)) == 4_000
        assert [entry for _, entry in journal.inbox.waiting()] == [take(4_000, number=4_000)]
        assert journal.resuming.resume(["tern-hollow"]).states == {"tern-hollow": b"3500"}
        assert journal.resuming.last_numbers("tern-hollow") == (3_999, 0)
        # A seq is never given twice.
        assert journal.commit(plain(reading(9_999))) == 4_010
    assert report is not None
    assert list(report.damaged) == ["reading"]
    assert report.set_aside == tmp_path / "a.journal.damaged-20260112-134640"
    assert report.set_aside.read_bytes() == before
    assert "some are lost (reading)" in report.sentence
    assert stat.S_IMODE(path.stat().st_mode) == 0o600
    Journal.open(path, check=True).close()


def test_the_alarm_table_is_made_again_from_the_changes(tmp_path):
    """How each alarm is follows from its last change, should the table's page be lost."""
    path = tmp_path / "a.journal"
    filled(path, 500)
    spoil(path, *pages_of(path, "alarm"))
    journal, report = open_or_salvage(path, NOW)
    with journal:
        (active,) = journal.resuming.alarms_active()
        assert active.change == alarm(499, number=499)
    assert report is not None
    assert list(report.damaged) == ["alarm"]


def test_a_lost_state_costs_a_longer_resume_only(tmp_path):
    """The engine's state can't be read: it goes through what is kept from the start on."""
    path = tmp_path / "a.journal"
    filled(path, 500)
    spoil(path, *pages_of(path, "snapshot"))
    journal, _ = open_or_salvage(path, NOW)
    with journal:
        resumed = journal.resuming.resume(["tern-hollow"])
        assert resumed.states == {}
        assert len(list(resumed.tail)) == 502


@pytest.mark.parametrize("how", ["zeros", "rubbish behind the header", "cut to a third"])
def test_a_lost_first_page_or_a_cut_file_still_lets_the_watch_go_on(tmp_path, how):
    """Even where nothing can be read: a new journal begins, the old one is set aside."""
    path = tmp_path / "a.journal"
    filled(path, 500)
    whole = path.read_bytes()
    match how:
        case "zeros":
            spoilt = bytes(PAGE) + whole[PAGE:]
        case "cut to a third":
            spoilt = whole[: len(whole) // 3]
        case _:
            spoilt = whole[:100] + RUBBISH[100:] + whole[PAGE:]
    path.write_bytes(spoilt)
    journal, report = open_or_salvage(path, NOW)
    with journal:
        assert report is not None
        assert report.set_aside.read_bytes() == spoilt
        seq = journal.commit([Step(reading(1), (alarm(1),))])
        assert seq == journal.ordering.last_seq()


def test_rubbish_anywhere_never_ends_in_a_traceback(tmp_path):
    """Sixty random pages and bits, each by itself: a journal that works comes of all of them."""
    draw = random.Random(7)
    origin = tmp_path / "origin.journal"
    filled(origin, 1_000)
    whole = origin.read_bytes()
    salvaged = 0
    for attempt in range(60):
        path = tmp_path / f"{attempt}.journal"
        spoilt = bytearray(whole)
        for _ in range(draw.randrange(1, 4)):
            at = draw.randrange(100, len(whole))
            if draw.random() < 0.5:
                spoilt[at] ^= 1 << draw.randrange(8)
            else:
                spoilt[at : at + 200] = draw.randbytes(len(spoilt[at : at + 200]))
        path.write_bytes(spoilt)
        journal, report = open_or_salvage(path, NOW)
        salvaged += report is not None
        with journal:
            list(journal.ordering.steps())
            journal.outbox.texts_open(NOW)
            journal.inbox.waiting()
            journal.resuming.resume(["tern-hollow"])
            asked(journal).readings.latest("tern-hollow")
            journal.resuming.alarms_active()
            journal.commit([Step(reading(99_999), (alarm(99_999), text(99_999, 99_999)))])
    assert salvaged > 10


def test_an_index_that_lost_a_row_is_mended_by_the_next_start(tmp_path):
    """The quick check doesn't see it; the work meets it, and the next start looks thoroughly."""
    path = tmp_path / "a.journal"
    filled(path, 500)
    raw = bytearray(path.read_bytes())
    leaf = pages_of(path, "derived_by_time")[-1]
    at = (leaf - 1) * PAGE
    last = int.from_bytes(raw[at + 5 : at + 7])  # where the cells' content begins: the last key
    raw[at + last + 8] ^= 0x01
    path.write_bytes(raw)
    journal, report = open_or_salvage(path, NOW)
    with journal:
        assert report is None
        journal.commit((), states={"tern-hollow": b"s"})
        with pytest.raises(JournalDamaged):
            journal.thinning.thin(NOW, 0.0)
    journal, report = open_or_salvage(path, NOW)
    with journal:
        assert report is not None
        assert report.damaged == {}
        journal.thinning.thin(NOW, 0.0)
        course = asked(journal).course(
            "tern-hollow", "strength", T0, NOW, width_seconds=86_400.0, derived=True
        )
        assert sum(one.bucket.count for one in course) == 500
    journal, report = open_or_salvage(path, NOW)
    journal.close()
    assert report is None


def test_a_table_that_is_not_as_it_was_made_is_damage(tmp_path):
    """A flipped letter in a column's name would be a mistake in our SQL: it is told as damage."""
    path = tmp_path / "a.journal"
    filled(path, 500)
    raw = path.read_bytes()
    path.write_bytes(raw.replace(b"high_95 REAL)", b"hiGh_96 REAL)"))
    for read_only in (True, False):
        with pytest.raises(JournalDamaged, match="derived is not as it was made"):
            Journal.open(path, read_only=read_only)
    journal, report = open_or_salvage(path, NOW)
    with journal:
        assert report is not None
        assert len(asked(journal).derived.between("tern-hollow", "strength", 0, NOW)) == 500


def test_a_damaged_file_of_an_older_version_comes_forward_with_what_is_left(tmp_path):
    """Damage found at an upgrade: acts and episodes of the older tables are reported again too."""
    path = tmp_path / "a.journal"
    db = sqlite3.connect(path, isolation_level=None)
    for statement in (*VERSION_1, *ROWS, *VERSION_2):
        db.execute(statement)
    db.close()
    spoil(path, *pages_of(path, "cursor"))
    journal, report = open_or_salvage(path, NOW)
    with journal:
        assert report is not None
        assert list(report.damaged) == ["cursor"]
        assert len(asked(journal).acts.between("tern-hollow")) == 3
        assert len(asked(journal).episodes.between("tern-hollow")) == 1
        assert journal.outbox.texts_open(NOW)[0].notice.plain == "TH1"


def test_without_room_for_a_second_file_the_watch_goes_on_with_an_empty_one(tmp_path):
    """The disk holds the damaged journal and little more: it is set aside, a new one begins."""
    origin, folder = tmp_path / "a.journal", tmp_path / "small"
    filled(origin, 1_000)
    spoil(origin, *pages_of(origin, "alarm"))
    folder.mkdir()
    size = origin.stat().st_size + 900_000
    mount = ["mount", "-t", "tmpfs", "-o", f"size={size}", "tmpfs", str(folder)]
    if subprocess.run(mount, capture_output=True, check=False).returncode:
        pytest.skip("needs the right to mount a tmpfs (run as root)")
    try:
        path = folder / "a.journal"
        path.write_bytes(origin.read_bytes())
        journal, report = open_or_salvage(path, NOW)
        with journal:
            assert report is not None
            assert "nothing of it could be saved" in report.sentence
            assert report.set_aside.read_bytes() == origin.read_bytes()
            assert journal.commit([Step(reading(1), (alarm(1),))]) == 1
        assert sorted(one.name for one in folder.iterdir()) == [
            "a.journal", "a.journal.damaged-20260112-134640", "a.journal.lock",
        ]  # fmt: skip
    finally:
        subprocess.run(["umount", str(folder)], check=True)


def test_another_program_s_file_is_never_set_aside(tmp_path):
    """A config that was named by mistake is refused, and stays where it is."""
    path = tmp_path / "depot.toml"
    path.write_text("[journal]\n" * 1_000)
    with pytest.raises(JournalUnusable, match="is not a journal: it starts with"):
        open_or_salvage(path, NOW)
    assert path.read_text() == "[journal]\n" * 1_000
    assert not list(tmp_path.glob("*damaged*"))


def with_sql(path: Path, *statements: str) -> None:
    """Change a journal behind its back."""
    db = sqlite3.connect(path, isolation_level=None)
    for statement in statements:
        db.execute(statement)
    db.close()


@pytest.mark.parametrize("version", [-3, 0, 2_000_000_000])
def test_a_version_that_is_none_is_damage(tmp_path, version):
    """Tables of a version that no program ever wrote: a sentence, and then saved all the same."""
    path = tmp_path / "a.journal"
    filled(path, 500)
    with_sql(path, f"PRAGMA user_version = {version}")
    with pytest.raises(JournalDamaged, match="says that their version is"):
        Journal.open(path)
    journal, report = open_or_salvage(path, NOW)
    with journal:
        assert report is not None
        assert len(asked(journal).alarms.history("tern-hollow")) == 500


def test_an_unreadable_row_costs_itself_alone(tmp_path):
    """Bodies, a mark, a state, a notice and an inbox row of rubbish: passed over and counted."""
    path = tmp_path / "a.journal"
    with Journal.open(path) as journal:
        journal.commit([Step(reading(n), (alarm(n, number=n), text(n, n))) for n in range(3)])
        journal.commit(plain(take(5)), states={"tern-hollow": b"s"})
        journal.inbox.post(take(6))
        journal.inbox.post(take(7))
    with_sql(
        path,
        "UPDATE output SET body = '{' WHERE kind = 'alarm' AND place < 131072",
        "UPDATE happening SET body = CAST(x'fffe' AS TEXT)",
        "UPDATE reading SET mark = 77 WHERE seq = 3",
        "UPDATE snapshot SET state = 'text'",
        "UPDATE text SET notice = 'x' WHERE id LIKE '%-1-yard'",
        "UPDATE inbox SET kind = 'banana' WHERE id = 1",
    )
    with Journal.open(path) as journal:
        steps = list(journal.ordering.steps())
        assert [one.entry for one in steps] == [reading(0), reading(1)]
        assert [len(one.outputs) for one in steps] == [1, 2]
        assert journal.resuming.resume(["tern-hollow"]).states == {}
        assert [entry for _, entry in journal.inbox.waiting()] == [take(7)]
        assert asked(journal).set_aside() == 1
        assert len(journal.outbox.texts_open(T0 + 9)) == 2
        assert [one.state for one in asked(journal).texts.newest()] == ["open", "open"]
        # Whoever waits for that text must be reached otherwise: the service is told.
        (_, delivery) = journal.inbox.waiting()[-1]
        assert (delivery.outcome, delivery.number, delivery.person) == ("dead", 12, "yard")
        assert journal.unreadable["output"] == 1
        assert journal.unreadable["happening"] == 1
        assert journal.unreadable["snapshot"] == 1
        assert journal.unreadable["inbox"] == 1


def test_damage_is_found_while_the_service_runs(tmp_path):
    """Share by share the whole file is read; a spoilt page anywhere is met within one round."""
    path = tmp_path / "a.journal"
    filled(path, 1_000)
    shares = 5
    with Journal.open(path) as journal:
        share = 0
        for _ in range(shares):
            checked = journal.checking.check_share(share, shares)
            assert checked.unreadable == 0
            share = checked.next_share
        assert share == 0
    found = []
    tables = ("reading", "derived", "output", "text", "mark", "episode_change", "alarm", "snapshot")
    for table in tables:
        copy = tmp_path / f"{table}.journal"
        copy.write_bytes(path.read_bytes())
        pages = pages_of(copy, table)
        spoil(copy, pages[-1])
        with Journal.open(copy) as journal:
            try:
                for share in range(shares):
                    journal.checking.check_share(share, shares)
            except JournalDamaged:
                found.append(table)
    assert tuple(found) == tables


AS_NOBODY = """
import os, sys
from pathlib import Path
from brineward.journal import Journal, JournalUnusable, DiskTrouble
os.setuid(65534)
for how in ({"service": True}, {}, {"read_only": True}):
    try:
        Journal.open(Path(sys.argv[1]), **how).close()
        print("opened")
    except (JournalUnusable, DiskTrouble) as why:
        print(type(why).__name__, why)
"""


def test_files_of_another_user_are_refused_with_a_sentence():
    """A lock, a journal, that this user may not open: who must do what, never a traceback."""
    probe = [sys.executable, "-c", "import os, brineward.journal; os.setuid(65534)"]
    if subprocess.run(probe, capture_output=True, check=False).returncode:
        pytest.skip("needs the right to become another user (run as root)")
    with tempfile.TemporaryDirectory() as name:
        folder = Path(name)
        folder.chmod(0o777)
        path = folder / "a.journal"
        Journal.open(path, service=True).close()
        run = [sys.executable, "-c", AS_NOBODY, str(path)]
        done = subprocess.run(run, capture_output=True, text=True, check=False)
    assert done.stderr == ""
    first, second, third = done.stdout.splitlines()
    assert "a.journal.lock belongs to root, and this user, nobody, may not open it" in first
    assert "a.journal belongs to root, and this user, nobody, may not open it" in second
    assert "may not be read by this user" in third
