"""What was under way when a run ended: two ends make it careful, a third names the message."""

import os
from pathlib import Path

import pytest

from brineward.config.load import load_settings
from brineward.link import Message, Token
from brineward.readings.instants import DAY, SECOND
from brineward.service.under_way import WELL_SECONDS, UnderWay
from services import DEPOT, topic, write_config
from serving import SetClock


class SteadyClock(SetClock):
    """A clock whose steady side a test moves as well."""

    later = 0.0

    def monotonic_seconds(self) -> float:
        return super().monotonic_seconds() + self.later


@pytest.fixture
def clock() -> SteadyClock:
    """The clock of all runs of a test."""
    return SteadyClock()


class Runs:
    """Runs on one journal, one after the other."""

    def __init__(self, folder: Path, clock: SteadyClock) -> None:
        self.clock = clock
        self.sources = load_settings(write_config(folder, 1)).sources
        self.journal = folder / "a.journal"

    def begin(self) -> UnderWay:
        """A run begins; the one before was never closed."""
        return UnderWay(self.journal, self.clock, self.sources)


@pytest.fixture
def runs(tmp_path: Path, clock: SteadyClock) -> Runs:
    """No run has been yet."""
    return Runs(tmp_path, clock)


def message(payload: bytes = b"1.5", sensor: str = "spare-level") -> Message:
    """Something that arrived."""
    return Message(topic(sensor), payload, 0, False, Token(1, 1))


def test_runs_that_end_between_batches_change_nothing(runs: Runs) -> None:
    """Killed again and again, but never in the middle: nobody is suspected."""
    for _ in range(5):
        run = runs.begin()
        assert not run.one_at_a_time
        run.begin([message(), message(b"2")])
        run.end()
        assert run.refusals(message()) == []


def test_the_one_that_was_under_way_alone_is_set_aside(runs: Runs, clock: SteadyClock) -> None:
    """After two ends in a batch each is taken alone; the one under way at the third is refused for
    a day, for each sensor of its topic; others are not."""
    for _ in range(2):
        run = runs.begin()
        assert not run.one_at_a_time
        run.begin([message(b"1"), message(b"2")])
    run = runs.begin()
    assert run.one_at_a_time
    run.begin([message(b"1")])
    run.end()
    run.begin([message(b"2")])

    run = runs.begin()
    assert run.refusals(message(b"1")) == []
    assert run.refusals(message(b"2", "main-level")) == []
    (refusal,) = run.refusals(message(b"2"))
    assert (refusal.depot, refusal.sensor, refusal.reason) == (DEPOT, "spare-level", "set-aside")
    assert refusal.payload == b"2"
    run.end()
    clock.ahead = DAY + SECOND
    assert runs.begin().refusals(message(b"2")) == []


def test_a_run_that_lasts_is_past_it(runs: Runs, clock: SteadyClock) -> None:
    """After ten minutes whole batches are taken again, and ends are counted from none."""
    for _ in range(2):
        runs.begin().begin([message()])
    run = runs.begin()
    assert run.one_at_a_time
    clock.later = WELL_SECONDS
    assert not run.one_at_a_time
    run.begin([message()])
    assert not runs.begin().one_at_a_time


def test_a_stop_in_order_is_no_end(runs: Runs) -> None:
    """Stopped as it should: the next run knows of nothing."""
    for _ in range(3):
        runs.begin().begin([message()])
    run = runs.begin()
    run.close()
    assert not runs.begin().one_at_a_time


@pytest.mark.parametrize(
    "body", [b"", b"\0" * 4096, b"[]", b'{"now": 1}', b'{"now": "", "ends": "x", "aside": {}}']
)
def test_what_can_t_be_read_is_nothing(runs: Runs, body: bytes) -> None:
    """A file that is spoilt, or another's: the run begins as if there were none."""
    runs.journal.with_name("a.journal.under-way").write_bytes(body)
    run = runs.begin()
    assert not run.one_at_a_time
    assert run.refusals(message()) == []


def test_an_idle_round_writes_nothing(runs: Runs, monkeypatch: pytest.MonkeyPatch) -> None:
    """Four rounds a second, for years: the file is written only where something came."""
    run = runs.begin()
    writes: list[int] = []
    monkeypatch.setattr(os, "pwrite", lambda *_: writes.append(1))
    for _ in range(10):
        run.begin([])
        run.end()
    assert not writes
    run.begin([message()])
    run.end()
    assert len(writes) == 2


def test_how_far_the_journal_reached_is_known_to_the_next_run(runs: Runs) -> None:
    """However the run ended: a journal that ends before it has lost something."""
    run = runs.begin()
    assert run.recorded == 0
    run.recorded = 4_711
    run.begin([message()])
    assert runs.begin().recorded == 4_711


def test_where_the_file_can_t_be_made_the_watch_goes_on(
    runs: Runs, caplog: pytest.LogCaptureFixture
) -> None:
    """Said once, in a sentence."""
    runs.journal = runs.journal.parent / "none" / "a.journal"
    run = runs.begin()
    run.begin([message()])
    run.end()
    run.close()
    assert "a message that ends the service can't be identified" in caplog.text
