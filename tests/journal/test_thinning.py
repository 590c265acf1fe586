"""What goes when it is old or the disk is short, and what never goes."""

from pathlib import Path

import pytest

from brineward.config.settings import JournalSettings
from brineward.journal import Journal
from brineward.readings.entries import LinkChanged, Started, Tick
from brineward.readings.instants import HOUR, MINUTE
from brineward.readings.outputs import Step
from brineward.readings.values import Quality, Reading, Refusal
from brineward.records import Bucket
from journal.samples import T0, alarm, asked, derived, episode, hand_test, plain, reading, text

DAY_SECONDS = 86_400.0
STARTED = Started(time=T0, version="0.1.0", config_hash="ab", zone_data="2025b")
TEST = hand_test()
RECORDS = (alarm(0), text(1), episode(0))


@pytest.fixture
def journal(tmp_path: Path):
    """A journal with two days of readings every minute, and of everything else on the first."""
    with Journal.open(tmp_path / "a.journal") as opened:
        link = LinkChanged(time=T0, up=True)
        rubbish = Refusal("tern-hollow", "main-level", T0, "too-long", "It is.", "t", b"?")
        opened.commit([*plain(STARTED, link, TEST, rubbish), Step(Tick(time=T0 + 1), RECORDS)])
        for start in range(0, 2880, 360):
            minutes = range(start, start + 360)
            opened.commit(
                [Step(minute(n), (derived(n * MINUTE, n / 1e4),)) for n in minutes],
                states={"tern-hollow": b"s"},
            )
        assert all(records(opened))
        yield opened


def minute(n: int) -> Reading:
    """The reading of one minute; every tenth is bad and far off."""
    if n % 10 == 0:
        return reading(n * MINUTE, 999.0, quality=Quality.BAD, reason="out of range")
    return reading(n * MINUTE, float(n % 60))


def records(journal: Journal) -> list[object]:
    """Everything that must never be thinned."""
    depot = "tern-hollow"
    told = [
        asked(journal).alarms.history(depot),
        asked(journal).episodes.between(depot),
        asked(journal).alarms.active(depot),
    ]
    return [
        *told,
        asked(journal).acts.between(depot),
        asked(journal).texts.newest(),
        asked(journal).refusals.counts(),
    ]


def test_old_readings_go_and_records_stay(journal):
    """Kept for a day: the second day's readings are all there, the first day's gone."""
    before = records(journal)
    done = journal.thinning.thin(T0 + 48 * HOUR, DAY_SECONDS)
    assert not done.more
    assert done.up_to == minute(1439).received
    left = asked(journal).readings.between("tern-hollow", "main-level", 0, T0 + 99 * HOUR)
    assert left == [minute(n) for n in range(1440, 2880)]
    assert len(asked(journal).derived.between("tern-hollow", "strength", 0, T0 + 99 * HOUR)) == 1440
    assert records(journal) == before
    assert STARTED in list(journal.ordering.entries())
    assert asked(journal).refusals.kept("tern-hollow", "main-level")[0].payload == b"?"
    assert journal.thinning.thin(T0 + 48 * HOUR, DAY_SECONDS).rows == 0


def strengths_of(journal, *span, width):
    """A derived value in stretches."""
    course = asked(journal).course(*span, width_seconds=width, derived=True)
    return [one.bucket for one in course]


def test_hours_stay_in_sum(journal):
    """Lowest, mean, highest and count of each hour are the same before and after thinning."""
    span = ("tern-hollow", "main-level", T0, T0 + 48 * HOUR, 3600.0)
    before = asked(journal).readings.buckets(*span)
    good = [n for n in range(60) if n % 10]
    assert before[3] == Bucket(
        time=T0 + 3 * HOUR, count=54, low=1.0, mean=sum(good) / 54, high=59.0
    )
    strength = ("tern-hollow", "strength", T0, T0 + 48 * HOUR)
    days = strengths_of(journal, *strength, width=DAY_SECONDS)
    # In small portions, so that hours are put together from several chunks.
    while journal.thinning.thin(T0 + 48 * HOUR, DAY_SECONDS, rows_at_most=37).more:
        pass
    assert asked(journal).readings.between("tern-hollow", "main-level", 0, T0 + 20 * HOUR) == []
    assert asked(journal).readings.buckets(*span) == before
    for after, day in zip(strengths_of(journal, *strength, width=DAY_SECONDS), days, strict=True):
        assert after.count == day.count == 1440
        assert after.mean == pytest.approx(day.mean, rel=1e-12)
    assert asked(journal).readings.buckets("tern-hollow", "none", T0, T0 + HOUR, 60.0) == []


def test_what_a_state_must_still_be_told_is_not_thinned(journal, tmp_path):
    """However short the time kept: a crash right after thinning resumes as if nothing was."""
    expected = [*plain(reading(49 * HOUR), reading(49 * HOUR + 1))]
    journal.commit(expected)
    journal.thinning.thin(T0 + 400 * 24 * HOUR, 0.0)
    resumed = journal.resuming.resume(["tern-hollow"])
    assert [Step(one.entry, one.outputs) for one in resumed.tail] == expected
    with Journal.open(tmp_path / "stateless.journal") as other:
        other.commit(plain(reading(1)))
        assert other.thinning.thin(T0 + 400 * 24 * HOUR, 0.0).rows == 0


def test_seqs_are_never_given_twice(journal):
    """After everything was thinned a follower's position still means what it meant."""
    journal.commit((), states={"tern-hollow": b"s"})
    last = journal.ordering.last_seq()
    journal.thinning.thin(T0 + 400 * 24 * HOUR, 0.0)
    assert list(journal.ordering.entries(last)) == []
    assert journal.commit(plain(reading(99 * HOUR))) == last + 1


def test_a_short_disk_thins_the_oldest_until_there_is_room(journal):
    """Only as much as is wanted, the oldest first; the pages are written to again."""
    before = records(journal)
    assert journal.room.reusable_bytes() == 0
    done = journal.thinning.thin_oldest(20_000)
    assert 20_000 <= done.freed_bytes == journal.room.reusable_bytes()
    assert 0 < done.rows < 5760
    assert records(journal) == before
    left = asked(journal).readings.between("tern-hollow", "main-level", 0, T0 + 99 * HOUR)
    assert left == [minute(n) for n in range(2880 - len(left), 2880)]
    journal.room.checkpoint()
    size = journal.path.stat().st_size
    journal.commit(plain(*(reading(60 * HOUR + n) for n in range(300))))
    journal.room.checkpoint()
    assert journal.path.stat().st_size == size
    assert not journal.thinning.thin_oldest(1 << 40).more


@pytest.mark.parametrize(
    ("free", "verdict"),
    [(600_000_000, "room"), (499_999_999, "low"), (200_000_000, "low"), (199_999_999, "thin")],
)
def test_the_disk_is_judged_by_the_settings(journal, free, verdict):
    """Under the warning mark it is low, under the thinning mark the oldest must go."""
    settings = JournalSettings(path=journal.path)
    state = journal.room.disk_state(settings, free_bytes=free)
    assert (state.verdict, state.room_bytes) == (verdict, free)
    assert state.journal_bytes == journal.path.stat().st_size


def test_what_was_thinned_counts_as_room(journal):
    """A disk that others have filled doesn't make the journal thin itself to nothing."""
    settings = JournalSettings(path=journal.path)
    journal.thinning.thin_oldest(20_000)
    state = journal.room.disk_state(settings, free_bytes=199_990_000)
    assert state.reusable_bytes >= 20_000
    assert state.verdict == "low"
    assert journal.room.disk_state(settings).free_bytes > 0


def test_a_checkpoint_cuts_the_write_ahead_file(journal, tmp_path):
    """Its size is told; a reader in the way makes it fail softly and soon, then it works."""
    assert journal.room.wal_bytes() > 0
    with Journal.open(tmp_path / "a.journal", read_only=True) as reader:
        with reader.handle.reading() as db:
            db.execute("SELECT count(*) FROM reading").fetchone()
            journal.commit(plain(reading(1, sensor="x")))
            assert not journal.room.checkpoint().done
        done = journal.room.checkpoint()
        assert (done.done, done.wal_bytes, journal.room.wal_bytes()) == (True, 0, 0)
    assert journal.handle._db.execute("PRAGMA busy_timeout").fetchone()[0] == 10_000


@pytest.mark.parametrize(
    "values",
    [(1e308, 1e308), (1e308, -1e308), (-1e308, -1e308, 1.0), (float("inf"), float("-inf"), 2.0)],
)
def test_no_value_from_outside_stops_the_thinning(tmp_path, values):
    """The largest doubles there are, in one hour: a finite sum, and extremes as they came."""
    with Journal.open(tmp_path / "b.journal") as journal:
        readings = [reading(n, value) for n, value in enumerate(values)]
        steps = [Step(one, (derived(n, values[n]),)) for n, one in enumerate(readings)]
        journal.commit(steps, states={"tern-hollow": b"s"})
        span = ("tern-hollow", "main-level", T0, T0 + HOUR, 3600.0)
        before = asked(journal).readings.buckets(*span)
        # One at a time, so that sums are added to sums.
        while journal.thinning.thin(T0 + 99 * HOUR, 0.0, rows_at_most=1).more:
            pass
        assert asked(journal).readings.between(*span[:2], T0, T0 + HOUR) == []
        after = asked(journal).readings.buckets(*span)
        strengths = strengths_of(journal, "tern-hollow", "strength", *span[2:4], width=3600.0)
        for (bucket,) in (before, after, strengths):
            assert (bucket.count, bucket.low, bucket.high) == (
                len(values), min(values), max(values)
            )  # fmt: skip
            assert abs(bucket.mean) <= 1e290
        assert after[0].mean == pytest.approx(before[0].mean)
        # All of them in one sum, as a picture of a year asks for.
        assert len(asked(journal).readings.buckets(*span[:3], T0 + 99 * HOUR, 1e9)) == 1


def test_an_infinite_sum_of_an_older_version_is_still_read(journal):
    """Rows that were written before sums were kept finite spoil no mean."""
    series = journal.handle.names.find_series("tern-hollow", "main-level")
    with journal.handle.writing() as db:
        for hour, total in ((100, "9e999"), (101, "-9e999")):
            db.execute(
                f"INSERT INTO hour VALUES (?, 0, ?, 2, -1.0, {total}, 1.0)",
                (series, T0 + hour * HOUR),
            )
    (bucket,) = asked(journal).readings.buckets(
        "tern-hollow", "main-level", T0 + 100 * HOUR, T0 + 102 * HOUR, 1e9
    )
    assert (bucket.count, bucket.mean) == (4, 0.0)
