"""The watch's own house: what is said of the disk, what is thinned, when the reserve lies."""

import logging
from collections.abc import Iterator
from pathlib import Path

import pytest

from brineward.clock import MachineClock
from brineward.config.settings import JournalSettings, LinkSettings, Settings
from brineward.journal import DiskTrouble, Journal, Thinned
from brineward.journal.inbox import Inbox
from brineward.readings.entries import ServiceTrouble, Started
from brineward.readings.instants import DAY, MINUTE, SECOND, instant_from_rfc3339
from brineward.readings.outputs import Step
from brineward.readings.values import Reading
from brineward.service.full_disk import make_room
from brineward.service.upkeep import MEGABYTE, ROOM_FOR_RESERVE, Upkeep
from journal.samples import asked

WHOLE = (False, "the journal was read through and is whole")
BEGAN = instant_from_rfc3339("2026-01-14T18:00:00Z")


@pytest.fixture
def journal(tmp_path: Path) -> Iterator[Journal]:
    """A journal that a service has begun."""
    with Journal.open(tmp_path / "a.journal") as opened:
        started = Started(time=BEGAN, version="1", config_hash="", zone_data="")
        opened.commit([Step(started, ())], states={"tern-hollow": b"{}"})
        yield opened


@pytest.fixture
def upkeep(journal: Journal) -> Upkeep:
    """Upkeep that has had its first look, with room enough."""
    made = upkeep_of(JournalSettings(path=journal.path))
    made.look_at_disk(free_bytes=900 * MEGABYTE)
    return made


def upkeep_of(
    journal: JournalSettings, *, damaged: str = "", clock: MachineClock | None = None
) -> Upkeep:
    """Upkeep of this journal alone: nobody on call, no channels."""
    settings = Settings(
        file=journal.path.with_suffix(".toml"),
        hash="",
        link=LinkSettings(host="127.0.0.1", port=1883),
        journal=journal,
        channels={},
        people={},
        depots={},
        sources=(),
    )
    return Upkeep(settings, clock or MachineClock(), damaged=damaged)


def said(journal: Journal, about: str = "disk-low") -> list[tuple[bool, str]]:
    """What was posted and not yet taken, in order."""
    entries = [entry for _, entry in journal.inbox.waiting()]
    found = [entry for entry in entries if isinstance(entry, ServiceTrouble)]
    return [(one.present, one.sentence) for one in found if one.trouble == about]


def with_old_readings(journal: Journal, count: int = 30_000) -> None:
    """A journal that has something to let go of."""
    readings = [
        Reading("tern-hollow", "main-level", at, 1.5, at)
        for at in range(BEGAN + SECOND, BEGAN + count * SECOND, SECOND)
    ]
    journal.commit([Step(reading, ()) for reading in readings], states={"tern-hollow": b"{}"})


def test_the_first_look_says_that_there_is_room(journal: Journal, upkeep: Upkeep) -> None:
    """The last run may have left the trouble standing: a start says how it is, whatever it is."""
    assert said(journal) == [(False, "900 MB left on the journal's disk")]


def test_low_is_said_once_and_so_is_its_end(journal: Journal, upkeep: Upkeep) -> None:
    """Looks by the minute don't repeat what is known."""
    for free in (400, 390, 380, 700, 800):
        upkeep.look_at_disk(free_bytes=free * MEGABYTE)
    assert said(journal)[1:] == [
        (True, "400 MB left on the journal's disk"),
        (False, "700 MB left on the journal's disk"),
    ]


def test_what_is_thinned_is_said_with_it(journal: Journal, upkeep: Upkeep) -> None:
    """Readings that had to go are part of the sentence, and no longer of the next trouble's."""
    with_old_readings(journal)
    for free in (100, 700, 400):
        upkeep.look_at_disk(free_bytes=free * MEGABYTE)
    low, over, later = said(journal)[1:]
    assert low == (
        True,
        "100 MB left on the journal's disk; readings before 2026-01-15 are thinned",
    )
    assert over[0] is False
    assert later == (True, "400 MB left on the journal's disk")
    assert asked(journal).readings.between("tern-hollow", "main-level", 0, BEGAN * 2) == []
    hours = asked(journal).readings.buckets("tern-hollow", "main-level", BEGAN, BEGAN * 2, 3600.0)
    assert sum(hour.count for hour in hours) == 29_999


def test_what_a_full_disk_cost_is_said_too(journal: Journal, upkeep: Upkeep) -> None:
    """The worker thinned by itself, in need: the next look tells it."""
    upkeep.look_at_disk(free_bytes=400 * MEGABYTE)
    upkeep.note_thinned(Thinned(rows=1, freed_bytes=1, up_to=BEGAN, more=False))
    upkeep.look_at_disk(free_bytes=390 * MEGABYTE)
    assert said(journal)[2:] == [
        (True, "390 MB left on the journal's disk; readings before 2026-01-14 are thinned")
    ]


def test_the_reserve_is_laid_only_where_there_is_room_for_it(
    journal: Journal, upkeep: Upkeep
) -> None:
    """On a disk that is nearly full the reserve would itself be what fills it."""
    reserve = journal.path.with_name(journal.path.name + ".reserve")
    assert reserve.exists()
    journal.room.give_up_reserve()
    upkeep.look_at_disk(free_bytes=100 * MEGABYTE)  # it must thin: no time to lay it
    assert not reserve.exists()
    little = JournalSettings(
        path=journal.path, disk_warn_bytes=3 * MEGABYTE, disk_thin_bytes=2 * MEGABYTE
    )
    upkeep_of(little).look_at_disk(free_bytes=ROOM_FOR_RESERVE)
    assert not reserve.exists()
    upkeep_of(little).look_at_disk(free_bytes=ROOM_FOR_RESERVE + 1)
    assert reserve.exists()


def test_a_full_disk_is_thinned_once_for_each_reserve(journal: Journal) -> None:
    """Without a reserve thinning would cost readings again and again, and help nothing."""
    with_old_readings(journal)
    assert make_room(journal) is None
    journal.room.lay_reserve()
    thinned = make_room(journal)
    assert thinned is not None
    assert thinned.rows > 20_000
    with_old_readings(journal, 100)
    assert make_room(journal) is None
    assert len(asked(journal).readings.between("tern-hollow", "main-level", 0, BEGAN * 2)) == 99


def test_a_disk_in_trouble_at_the_start_is_no_reason_to_end(
    journal: Journal, caplog: pytest.LogCaptureFixture, monkeypatch: pytest.MonkeyPatch
) -> None:
    """Trouble at the first look is logged; the service goes on, and upkeep looks again."""

    def refuse(_inbox: Inbox, _entry: ServiceTrouble) -> int:
        raise DiskTrouble("the disk is full", full=True)

    monkeypatch.setattr(Inbox, "post", refuse)
    upkeep = upkeep_of(JournalSettings(path=journal.path))
    with caplog.at_level(logging.ERROR):
        upkeep.start()
    upkeep.stop()
    assert "the disk is full" in caplog.text
    monkeypatch.undo()
    upkeep.look_at_disk(free_bytes=MEGABYTE)
    assert said(journal) == [(True, "1 MB left on the journal's disk")]


def test_what_is_older_than_kept_goes(journal: Journal) -> None:
    """By the hour, readings older than the config keeps are let go of; alarms and acts stay."""
    with_old_readings(journal, 100)
    settings = JournalSettings(path=journal.path, keep_readings_seconds=MINUTE / SECOND)
    upkeep_of(settings).thin()
    assert asked(journal).readings.between("tern-hollow", "main-level", 0, BEGAN * 2) == []


def test_a_start_says_that_the_records_are_whole_or_what_was_lost(journal: Journal) -> None:
    """The last run may have left the trouble: a start says how it is, once."""
    settings = JournalSettings(path=journal.path)
    for upkeep in (
        upkeep_of(settings),
        upkeep_of(settings, damaged="the journal was damaged: 7 rows are saved"),
    ):
        upkeep.start()
        upkeep.say_damage()
        upkeep.stop()
    assert said(journal, "records-damaged") == [
        WHOLE,
        (True, "the journal was damaged: 7 rows are saved"),
    ]


def test_damage_is_found_by_the_hourly_look_and_said_once(
    journal: Journal, monkeypatch: pytest.MonkeyPatch
) -> None:
    """A page of the alarms goes bad while the service runs: within one round it is posted."""
    monkeypatch.setattr("brineward.service.upkeep.SHARES", 4)
    with_old_readings(journal, 2_000)
    upkeep = upkeep_of(JournalSettings(path=journal.path))
    for _ in range(4):
        upkeep.check_records()
    assert said(journal, "records-damaged") == [
        (False, "the journal was read through and is whole")
    ]
    journal.room.checkpoint()
    root = "SELECT rootpage FROM sqlite_schema WHERE name = 'alarm'"
    with journal.handle.reading() as db:
        (page,) = db.execute(root).fetchone()
    with journal.path.open("rb+") as file:
        file.seek((page - 1) * 4096)
        file.write(b"\xa5" * 4096)
    for _ in range(8):
        upkeep.check_records()
    posted = said(journal, "records-damaged")
    assert len(posted) == 2
    assert posted[1][0] is True
    assert "the journal is damaged" in posted[1][1]


def test_a_row_that_can_t_be_read_is_said(journal: Journal) -> None:
    """Not a page, a single row: counted, and said the same way."""
    with journal.handle.writing() as db:
        db.execute("UPDATE happening SET body = '{' WHERE seq = 1")
    upkeep = upkeep_of(JournalSettings(path=journal.path))
    upkeep._share = 719  # the share that the only entry lies in
    upkeep.check_records()
    assert said(journal, "records-damaged") == [
        (True, "1 row of the journal can't be read any more")
    ]


def test_a_clock_set_ahead_makes_no_reading_old(journal: Journal) -> None:
    """A clock that runs a year ahead since a moment ago costs no reading of this year."""
    fresh = round(MachineClock().now() - MINUTE)
    journal.commit(
        [Step(Reading("tern-hollow", "main-level", fresh, 1.5, fresh), ())],
        states={"tern-hollow": b"{}"},
    )
    clock = SetClock()
    upkeep = upkeep_of(JournalSettings(path=journal.path), clock=clock)
    clock.ahead = 800 * DAY
    upkeep.thin()
    assert len(asked(journal).readings.between("tern-hollow", "main-level", 0, fresh * 2)) == 1


class SetClock(MachineClock):
    """The machine's clock, set by a test."""

    ahead = 0

    def now(self) -> int:
        return super().now() + self.ahead
