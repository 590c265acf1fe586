"""Automatic reports: written into a folder once their period is complete.

What counts is whether the file is there: so a report that was missed while the service was down, or
while a clock was wrong, is made at the next check, and none is made twice.
"""

import logging
from pathlib import Path
from typing import Any, Final

from apscheduler.events import EVENT_JOB_ERROR, EVENT_JOB_MISSED, JobExecutionEvent
from apscheduler.schedulers.background import BackgroundScheduler
from apscheduler.triggers.cron import CronTrigger
from apscheduler.triggers.date import DateTrigger
from apscheduler.triggers.interval import IntervalTrigger

from brineward.clock import Clock
from brineward.config.settings import ReportSettings, Settings
from brineward.export.whole_file import NoFile
from brineward.journal import DiskTrouble, Journal, JournalDamaged, JournalUnusable
from brineward.plant.plan import DepotPlan
from brineward.readings.instants import DAY, SECOND, Instant, local_from_instant
from brineward.records import Records
from brineward.reports.files import write
from brineward.reports.gather import gather
from brineward.reports.period import Period, PeriodKind, period_of
from brineward.service.report_mail import ReportMail

_LOG = logging.getLogger(__name__)

SEASON_ANEW: Final = 7 * DAY
"""How often the report of an unfinished season is made again."""
MAIL_AGAIN_SECONDS: Final = 300.0
"""How often mail that a server has not accepted is tried again."""
_LATE_SECONDS: Final = 6 * 3600
"""How late a check may still run; the library's own limit, a second, would skip it silently."""


class Reporting:
    """Looks once a day, and at the start, which reports are due and not there."""

    def __init__(self, settings: Settings, reports: ReportSettings, clock: Clock) -> None:
        self._settings, self._reports, self._clock = settings, reports, clock
        self._mail = ReportMail(settings, reports, clock)
        self._scheduler = BackgroundScheduler(
            timezone="UTC",
            job_defaults={
                "misfire_grace_time": _LATE_SECONDS,
                "coalesce": True,
                "max_instances": 1,
            },
        )

    def start(self) -> None:
        """Look at once, and then every day at the depots' own time."""
        self._scheduler.add_listener(_say, EVENT_JOB_ERROR | EVENT_JOB_MISSED)
        hour, minute = self._reports.at.split(":")
        for plan in self._settings.depots.values():
            daily = CronTrigger(hour=int(hour), minute=int(minute), timezone=plan.zone)
            self._scheduler.add_job(self.make_due, daily, args=[plan], id=f"daily {plan.id}")
            self._scheduler.add_job(self.make_due, DateTrigger(), args=[plan], id=f"now {plan.id}")
        again = IntervalTrigger(seconds=MAIL_AGAIN_SECONDS)
        self._scheduler.add_job(self._mail.send_owed, again, id="mail")
        self._scheduler.start()

    def stop(self) -> None:
        """Start no more; one that is being written is finished."""
        self._scheduler.shutdown()

    def make_due(self, plan: DepotPlan) -> list[Path]:
        """Make the reports of a depot that are due and not there; what was written."""
        made = []
        now = self._clock.now()
        for name in self._reports.periods:
            period = period_of(PeriodKind(name), now, plan.zone)
            path = self.path_of(plan, period)
            if self._is_there(path, period, now):
                continue
            try:
                self._make(plan, period, path, now)
                self._mail.owe(path)
            except (NoFile, OSError, DiskTrouble, JournalDamaged, JournalUnusable) as why:
                _LOG.error("the report %s could not be made: %s", path.name, why)
            else:
                made.append(path)
                _LOG.info("report written: %s", path)
        return made

    def path_of(self, plan: DepotPlan, period: Period) -> Path:
        """Where the report of a period belongs: its depot, its kind, the day that it begins."""
        day = local_from_instant(period.start, plan.zone).date()
        return self._reports.folder / f"{plan.id}-{period.kind}-{day}.{self._reports.form}"

    def _is_there(self, path: Path, period: Period, now: Instant) -> bool:
        try:
            written = path.stat().st_mtime * SECOND
        except OSError:
            return False
        return period.kind is not PeriodKind.SEASON or 0 <= now - written < SEASON_ANEW

    def _make(self, plan: DepotPlan, period: Period, path: Path, now: Instant) -> None:
        path.parent.mkdir(parents=True, exist_ok=True)
        with Journal.open(self._settings.journal.path, read_only=True) as journal:
            report = gather(plan, Records(journal.handle), period, now)
        write(report, path)


def _say(event: JobExecutionEvent) -> None:
    """A look that failed or was missed is said: the next one makes up for it."""
    failure: Any = getattr(event, "exception", None)
    why = "it came too late" if failure is None else type(failure).__name__
    _LOG.error("the check for due reports (%s) failed: %s", event.job_id, why)
