"""The sign of life: given while reader and sender go round, and while only the disk refuses."""

import socket
import threading
from collections.abc import Iterator
from contextlib import contextmanager
from dataclasses import dataclass
from pathlib import Path

import pytest

from brineward.clock import MachineClock
from brineward.journal import DiskTrouble, Journal
from brineward.records import Records
from brineward.service.beat import BEAT_SECONDS, STUCK_SECONDS, Beat
from brineward.service.notices import Notices
from brineward.service.parts import PartsLook
from brineward.texts.follower import TextsFollower
from gateways import wait_until
from outboxes import MemoryOutbox, Text


class DrivenClock(MachineClock):
    """A clock that a test moves; waiting is short."""

    seconds = 1_000.0

    def now(self) -> int:
        """By its seconds."""
        return round(self.seconds * 1000)

    def monotonic_seconds(self) -> float:
        """As set."""
        return self.seconds

    def wait(self, wake: threading.Event, seconds: float) -> bool:
        """A moment, really."""
        return wake.wait(0.002)


class Outbox(MemoryOutbox):
    """One that fails as a test says."""

    failure: Exception | None = None
    looks = 0

    def texts_open(self, now: int, limit: int = 100) -> list[Text]:
        """What is due, or the failure."""
        self.looks += 1
        if self.failure is not None:
            raise self.failure
        return super().texts_open(now, limit)


@dataclass
class Bench:
    """A beat with a real journal, a real sender and systemd's end of the socket."""

    clock: DrivenClock
    outbox: Outbox
    journal: Journal
    manager: socket.socket
    beat: Beat

    def goes_on(self, seconds: float) -> bool:
        """So much later, when the sender has looked again: is a sign of life given?"""
        self.clock.seconds += seconds
        looks = self.outbox.looks
        wait_until(lambda: self.outbox.looks > looks + 2)
        self.beat.turn()
        noted = Records(self.journal.handle).service().beat == self.clock.now()
        try:
            told = self.manager.recv(100) == b"WATCHDOG=1"
        except BlockingIOError:
            told = False
        assert noted == told
        return told


@contextmanager
def bench_in(folder: Path) -> Iterator[Bench]:
    """One whose sender follows."""
    clock, outbox = DrivenClock(), Outbox()
    texts = TextsFollower(
        lambda: outbox, {}, {}, clock, lambda sentence: None, key_of=lambda due: due.id
    )
    with (
        socket.socket(socket.AF_UNIX, socket.SOCK_DGRAM) as manager,
        Journal.open(folder / "a.journal") as journal,
    ):
        manager.bind(str(folder / "notify"))
        manager.setblocking(False)
        beat = Beat(
            journal,
            clock,
            Notices(clock, str(folder / "notify")),
            texts,
            parts=PartsLook({}, clock, journal.inbox.post),
            on_beat=lambda: None,
        )
        texts.start()
        try:
            yield Bench(clock, outbox, journal, manager, beat)
        finally:
            texts.stop()


@pytest.fixture
def bench(tmp_path: Path, monkeypatch: pytest.MonkeyPatch) -> Iterator[Bench]:
    """A watchdog of a minute."""
    monkeypatch.setenv("WATCHDOG_USEC", "60000000")
    with bench_in(tmp_path) as made:
        yield made


@pytest.mark.parametrize("ever_well", [True, False])
def test_a_sender_that_fails_at_every_turn_gives_no_sign_of_life(
    bench: Bench, ever_well: bool
) -> None:
    """Nothing is sent on any channel: after two minutes systemd and the heartbeat are told no more
    that all is well, though the sender's thread goes round; once it works again, they are."""
    if ever_well:
        assert bench.goes_on(60.0)
    bench.outbox.failure = ValueError("what no disk would take")
    assert bench.goes_on(STUCK_SECONDS - 60.0)
    assert not bench.goes_on(121.0)
    assert not bench.goes_on(600.0)
    bench.outbox.failure = None
    assert bench.goes_on(60.0)


def test_a_sender_that_the_disk_refuses_is_no_reason_for_a_restart(bench: Bench) -> None:
    """A restart would help nobody, and what is sent without a record would be sent twice."""
    assert bench.goes_on(BEAT_SECONDS + 30.0)
    bench.outbox.failure = DiskTrouble("the disk is full", full=True)
    for _ in range(4):
        assert bench.goes_on(STUCK_SECONDS)
