"""The outbox follower: the threads around the desk.

One thread looks at the outbox and is the only one that touches it; every channel has a thread of
its own, so a slow or dead one holds up nobody else. A third only starts turns of the first and
looks at how they ended: an unexpected error is reported and the next turn begins afresh.
"""

import logging
import threading
from collections.abc import Callable, Mapping
from concurrent.futures import ThreadPoolExecutor
from typing import NamedTuple

from brineward.clock import Clock
from brineward.config.settings import (
    Channel,
    ConsoleChannel,
    FileChannel,
    HttpChannel,
    Person,
)
from brineward.readings.instants import Instant
from brineward.texts.desk import Desk, Lane, Outbox, place_of
from brineward.texts.gateway import HttpSender
from brineward.texts.local import ConsoleSender, FileSender
from brineward.texts.senders import Sender

_FIRST_PAUSE_SECONDS = 1.0
_LONGEST_PAUSE_SECONDS = 30.0
_LANDING_SECONDS = 5.0
"""How long a stop waits for what is in the air; what lands later is sent again after the start."""

_log = logging.getLogger(__name__)


class Progress(NamedTuple):
    """When the outbox was last looked at with success."""

    at: Instant
    monotonic_seconds: float


def sender_of(channel: Channel, clock: Clock) -> Sender:
    """The sender for a channel of the config. Raises: ChannelMistake."""
    match channel:
        case HttpChannel():
            return HttpSender(channel, clock)
        case ConsoleChannel():
            return ConsoleSender(channel)
        case FileChannel():
            return FileSender(channel, clock)


class TextsFollower:
    """Sends the texts of the outbox until it is stopped.

    `open_outbox` is called in the thread that uses the outbox, again after every error of it;
    `on_trouble` gets a sentence and may be called from any thread.
    """

    def __init__(
        self,
        open_outbox: Callable[[], Outbox],
        channels: Mapping[str, Channel],
        people: Mapping[str, Person],
        clock: Clock,
        on_trouble: Callable[[str], None],
        *,
        make_sender: Callable[[Channel, Clock], Sender] = sender_of,
    ) -> None:
        self._open_outbox = open_outbox
        self._people = people
        self._clock = clock
        self._on_trouble = on_trouble
        self._wake = threading.Event()
        self._stopping = threading.Event()
        self._closing = threading.Lock()
        self._closed = False
        self._senders = {id_: make_sender(channel, clock) for id_, channel in channels.items()}
        self._pools = {id_: ThreadPoolExecutor(1, f"texts {id_}") for id_ in channels}
        self._desk_pool = ThreadPoolExecutor(1, "texts outbox")
        self._lanes = {
            id_: Lane(channel, self._senders[id_], self._pools[id_])
            for id_, channel in channels.items()
        }
        self._outbox: Outbox | None = None
        self._desk: Desk | None = None
        self._progress: Progress | None = None
        self._said = ""
        self._thread = threading.Thread(target=self._go, name="texts", daemon=True)

    def start(self) -> None:
        """Begin to send."""
        self._thread.start()

    def wake(self) -> None:
        """Look at the outbox now: something was committed."""
        self._wake.set()

    def stop(self) -> None:
        """Launch nothing more, wait a little for what is in the air, record it and let go.

        May be called again.
        """
        self._stopping.set()
        self._wake.set()
        if self._thread.is_alive():
            self._thread.join()
        with self._closing:
            if self._closed:
                return
            self._closed = True
        self._desk_pool.submit(self._let_go).exception()
        for pool in (*self._pools.values(), self._desk_pool):
            pool.shutdown(wait=False, cancel_futures=True)

    def progress(self) -> Progress | None:
        """When the outbox was last looked at with success; None before the first time."""
        return self._progress

    def is_alive(self) -> bool:
        """Does the thread run?"""
        return self._thread.is_alive()

    def _go(self) -> None:
        pause = _FIRST_PAUSE_SECONDS
        while not self._stopping.is_set():
            # Cleared before the turn: what is committed during it wakes the next.
            self._wake.clear()
            turn = self._desk_pool.submit(self._turn, launching=True)
            error = turn.exception()
            if error is None:
                pause = _FIRST_PAUSE_SECONDS
                self._clock.wait(self._wake, turn.result())
            else:
                self._report_from_outside(error)
                # A wake-up must not turn a broken outbox into a busy loop.
                self._clock.wait(self._stopping, pause)
                pause = min(2 * pause, _LONGEST_PAUSE_SECONDS)
        self._land()

    def _land(self) -> None:
        end = self._clock.monotonic_seconds() + _LANDING_SECONDS
        while True:
            self._wake.clear()
            error = self._desk_pool.submit(self._turn, launching=False).exception()
            left = end - self._clock.monotonic_seconds()
            if error is not None:
                self._report_from_outside(error)
                return
            if left <= 0 or not any(lane.flight for lane in self._lanes.values()):
                return
            self._clock.wait(self._wake, left)

    def _turn(self, *, launching: bool) -> float:
        """In the outbox's own thread."""
        if self._desk is None:
            self._outbox = self._open_outbox()
            self._desk = Desk(
                self._outbox,
                self._lanes,
                self._people,
                self._clock,
                wake=self._wake.set,
                on_trouble=self._tell,
            )
        quiet = self._desk.turn(launching=launching)
        self._said = ""
        self._progress = Progress(self._clock.now(), self._clock.monotonic_seconds())
        return quiet

    def _let_go(self) -> None:
        """In the outbox's own thread: close it, and open another at the next turn."""
        outbox, self._outbox, self._desk = self._outbox, None, None
        if outbox is not None:
            outbox.close()

    def _report_from_outside(self, error: BaseException) -> None:
        """Let the outbox's thread say it: whoever is told may fail, and this thread must not."""
        failed = self._desk_pool.submit(self._report, error).exception()
        if failed is not None:
            _log.error("telling of a trouble failed: %s", place_of(failed))

    def _report(self, error: BaseException) -> None:
        """In the outbox's own thread."""
        sentence = f"texts can't be sent: {error} ({place_of(error)})"
        if sentence != self._said:
            self._said = sentence
            self._tell(sentence)
        self._let_go()

    def _tell(self, sentence: str) -> None:
        _log.error("%s", sentence)
        self._on_trouble(sentence)
