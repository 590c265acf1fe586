"""Work that is repeated beside the watch, timed by a clock that never steps.

A scheduler that goes by the time of day would do nothing for as long as the clock is set back.
"""

import logging
import threading
from collections.abc import Callable, Mapping
from concurrent.futures import ThreadPoolExecutor

from brineward.clock import Clock
from brineward.journal import DiskTrouble, JournalUnusable

LONGEST_QUIET_SECONDS = 60.0

_LOG = logging.getLogger(__name__)


class Rounds:
    """Does each job at its interval in seconds, one at a time; first after one interval."""

    def __init__(self, clock: Clock, jobs: Mapping[Callable[[], None], float]) -> None:
        self._clock = clock
        self._jobs = dict(jobs)
        began = clock.monotonic_seconds()
        self._due = {job: began + every for job, every in jobs.items()}
        self._stopping = threading.Event()
        self.went_round: float | None = None
        """When it last came round, on the clock that never steps; None before it began."""
        self._worker = ThreadPoolExecutor(1, "upkeep work")
        self._thread = threading.Thread(target=self._go, name="upkeep", daemon=True)

    def start(self) -> None:
        """Begin."""
        self._thread.start()

    def stop(self) -> None:
        """End; a job under way is waited for. May be called where it was never started."""
        self._stopping.set()
        if self._thread.ident is not None:
            self._thread.join()
        self._worker.shutdown()

    def is_alive(self) -> bool:
        """Does its thread run?"""
        return self._thread.is_alive()

    def do_due(self) -> float:
        """Do what is due, whatever fails; returns for how many seconds nothing more is."""
        for job, every in self._jobs.items():
            if self._stopping.is_set() or self._clock.monotonic_seconds() < self._due[job]:
                continue
            error = self._worker.submit(job).exception()
            if isinstance(error, DiskTrouble | JournalUnusable):
                _LOG.error("upkeep: %s", error)
            elif error is not None:
                _LOG.error("upkeep failed", exc_info=error)
            self._due[job] = self._clock.monotonic_seconds() + every
        return max(0.0, min(self._due.values()) - self._clock.monotonic_seconds())

    def _go(self) -> None:
        while not self._stopping.is_set():
            quiet = self.do_due()
            self.went_round = self._clock.monotonic_seconds()
            # No longer than a part may be quiet that is not stuck.
            self._clock.wait(self._stopping, min(quiet, LONGEST_QUIET_SECONDS))
