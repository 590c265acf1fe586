"""Upkeep of the watchman's own house: room on the disk, old readings, the write-ahead file.

Runs beside the watch with a handle of its own; what it finds is posted as entries, so that the
engine raises its alarms like any other.
"""

import logging
from pathlib import Path
from typing import Literal

from apscheduler.events import EVENT_JOB_ERROR, EVENT_JOB_MISSED, JobExecutionEvent
from apscheduler.executors.pool import ThreadPoolExecutor
from apscheduler.schedulers.background import BackgroundScheduler

from brineward.clock import Clock
from brineward.config.settings import JournalSettings
from brineward.journal.journal import Journal
from brineward.journal.trouble import DiskTrouble
from brineward.readings.entries import ServiceTrouble

_LOG = logging.getLogger(__name__)

MEGABYTE = 1_000_000


class Upkeep:
    """Jobs by the hour and by the minute."""

    def __init__(self, settings: JournalSettings, clock: Clock) -> None:
        self._settings = settings
        self._clock = clock
        self._low: bool | None = None
        # A late job is run late, never skipped in silence, and never twice at a time.
        self._scheduler = BackgroundScheduler(
            timezone="UTC",
            executors={"default": ThreadPoolExecutor(1)},
            job_defaults={"misfire_grace_time": 3600, "coalesce": True, "max_instances": 1},
        )
        self._scheduler.add_listener(_tell, EVENT_JOB_ERROR | EVENT_JOB_MISSED)
        self._scheduler.add_job(self.look_at_disk, "interval", seconds=60)
        self._scheduler.add_job(self.thin, "interval", hours=1)

    def start(self) -> None:
        """Begin; the first look at the disk is at once."""
        self.look_at_disk()
        self._scheduler.start()

    def stop(self) -> None:
        """End; a job under way is waited for."""
        self._scheduler.shutdown()

    def look_at_disk(self, free_bytes: int | None = None) -> None:
        """Say when room runs low, and thin the oldest raw readings when it runs out.

        `free_bytes` stands in for the disk's own count.
        """
        with self._journal() as journal:
            state = journal.disk_state(self._settings, free_bytes=free_bytes)
            low = state.verdict != "room"
            if low != self._low:
                self._post(journal, low=low, free=state.free_bytes)
            if state.verdict == "thin":
                wanted = self._settings.disk_thin_bytes - state.room_bytes
                thinned = journal.thin_oldest(max(wanted, MEGABYTE))
                _LOG.warning("the disk is nearly full: %s", thinned)

    def thin(self) -> None:
        """Let go of raw readings older than the set time; alarms and records stay."""
        with self._journal() as journal:
            thinned = journal.thin(self._clock.now(), self._settings.keep_readings_seconds)
            journal.checkpoint()
            _LOG.info("old readings: %s", thinned)

    def _post(self, journal: Journal, *, low: bool, free: int) -> None:
        trouble: Literal["disk-low"] = "disk-low"
        sentence = f"{free // MEGABYTE} MB left on the disk of {self._settings.path.name}"
        if low or self._low is not None:
            journal.post(
                ServiceTrouble(
                    time=self._clock.now(), trouble=trouble, present=low, sentence=sentence
                )
            )
        self._low = low

    def _journal(self) -> Journal:
        return Journal.open(Path(self._settings.path))


def _tell(event: JobExecutionEvent) -> None:
    error = getattr(event, "exception", None)
    if isinstance(error, DiskTrouble):
        _LOG.error("upkeep: %s", error)
    elif error is not None:
        _LOG.error("upkeep failed", exc_info=error)
    else:
        _LOG.warning("upkeep ran late and was passed over")
