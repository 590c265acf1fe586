"""The threads around a follower: it waits, starts again after any error, and stops in order.

One thread does the work and is the only one that touches what it reads from. Another starts turns
of the first and looks at how they ended: an unexpected error is reported, and the next turn opens
everything again.
"""

import logging
import threading
from collections.abc import Callable
from concurrent.futures import ThreadPoolExecutor
from typing import NamedTuple, Protocol

from brineward.clock import Clock
from brineward.followers.backoff import doubled_wait_seconds
from brineward.followers.errors import place_of
from brineward.readings.instants import Instant

FIRST_PAUSE_SECONDS = 1.0
LONGEST_PAUSE_SECONDS = 30.0
"""The pause after an error doubles from the first to the longest."""
LANDING_SECONDS = 5.0
"""How long a stop waits for what has been handed on and not answered yet."""

_log = logging.getLogger(__name__)


class Work(Protocol):
    """What one follower does; made, used and closed in one thread, made again after an error."""

    def turn(self) -> float:
        """Do what is due; returns for how many seconds nothing more is due."""
        ...

    def land(self) -> bool:
        """Begin nothing new, record what has ended; is anything still under way?"""
        ...

    def close(self) -> None:
        """Let go of what was opened."""
        ...


class Progress(NamedTuple):
    """When a turn last ended well."""

    at: Instant
    monotonic_seconds: float


class Follower:
    """Follows until it is stopped.

    `open_work` is called in the thread that works, again after every error; `on_trouble` gets a
    sentence that begins with `trouble`, and may be called from any thread.
    """

    def __init__(
        self,
        name: str,
        open_work: Callable[[], Work],
        clock: Clock,
        on_trouble: Callable[[str], None],
        *,
        trouble: str,
    ) -> None:
        self._open_work = open_work
        self._clock = clock
        self._on_trouble = on_trouble
        self._trouble = trouble
        self._wake = threading.Event()
        self._stopping = threading.Event()
        self._closing = threading.Lock()
        self._closed = False
        self._worker = ThreadPoolExecutor(1, f"{name} work")
        self._work: Work | None = None
        self._progress: Progress | None = None
        self._went_round: float | None = None
        self._failure: BaseException | None = None
        self._said = ""
        self._thread = threading.Thread(target=self._go, name=name, daemon=True)

    def start(self) -> None:
        """Begin to follow."""
        self._thread.start()

    def wake(self) -> None:
        """Look now: something was committed, or something has ended."""
        self._wake.set()

    def stop(self) -> None:
        """Begin nothing more, wait a little for what is under way, record it and let go.

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
        self._worker.submit(self._let_go).exception()
        self._worker.shutdown(wait=False, cancel_futures=True)

    def progress(self) -> Progress | None:
        """When a turn last ended well; None before the first time."""
        return self._progress

    def went_round(self) -> float | None:
        """When a turn last ended, well or not, on the clock that never steps; None before."""
        return self._went_round

    def failure(self) -> BaseException | None:
        """What the last turn failed with; None where it ended well, and before the first."""
        return self._failure

    def is_alive(self) -> bool:
        """Does the thread run?"""
        return self._thread.is_alive()

    def _go(self) -> None:
        failures = 0
        while not self._stopping.is_set():
            # Cleared before the turn: what is committed during it wakes the next.
            self._wake.clear()
            turn = self._worker.submit(self._turn)
            error = self._failure = turn.exception()
            self._went_round = self._clock.monotonic_seconds()
            if error is None:
                failures = 0
                self._clock.wait(self._wake, turn.result())
                continue
            failures += 1
            self._report_from_outside(error)
            # Not `_wake`: being woken must not turn a broken journal into a busy loop.
            self._clock.wait(self._stopping, _pause_seconds(failures))
        self._land()

    def _land(self) -> None:
        end = self._clock.monotonic_seconds() + LANDING_SECONDS
        while True:
            self._wake.clear()
            landing = self._worker.submit(self._opened_land)
            error = landing.exception()
            if error is not None:
                self._report_from_outside(error)
                return
            left = end - self._clock.monotonic_seconds()
            if left <= 0 or not landing.result():
                return
            self._clock.wait(self._wake, left)

    def _turn(self) -> float:
        """In the working thread."""
        quiet = self._opened().turn()
        self._said = ""
        self._progress = Progress(self._clock.now(), self._clock.monotonic_seconds())
        return quiet

    def _opened_land(self) -> bool:
        """In the working thread."""
        return self._opened().land()

    def _opened(self) -> Work:
        if self._work is None:
            self._work = self._open_work()
        return self._work

    def _let_go(self) -> None:
        """In the working thread: close the work, and open another at the next turn."""
        work, self._work = self._work, None
        if work is not None:
            work.close()

    def _report_from_outside(self, error: BaseException) -> None:
        """Let the working thread say it: whoever listens may fail, and this thread must not."""
        failed = self._worker.submit(self._report, error).exception()
        if failed is not None:
            _log.error("reporting a trouble failed: %s", place_of(failed))

    def _report(self, error: BaseException) -> None:
        """In the working thread; the work is let go of whoever fails to listen."""
        sentence = f"{self._trouble}: {error} ({place_of(error)})"
        try:
            if sentence != self._said:
                self._said = sentence
                self._on_trouble(sentence)
        finally:
            self._let_go()


def _pause_seconds(failures: int) -> float:
    return doubled_wait_seconds(
        failures, first_seconds=FIRST_PAUSE_SECONDS, longest_seconds=LONGEST_PAUSE_SECONDS
    )
