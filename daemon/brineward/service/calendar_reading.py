"""Reads rotas from calendars elsewhere, and posts what they say whenever that has changed, and
twice a day that they still say it.

The journal keeps what was last read: it still applies while the calendar can't be reached, and
after a restart.
"""

import logging
import threading
from dataclasses import replace
from pathlib import Path
from typing import Final

import requests
from urllib3.exceptions import HTTPError

from brineward.clock import Clock
from brineward.config.settings import RotaCalendar, Settings
from brineward.journal import DiskTrouble, Journal, JournalUnusable
from brineward.plant.plan import DepotPlan
from brineward.readings.entries import RotaRead, Shift
from brineward.readings.instants import DAY, HOUR, Instant
from brineward.records import Records
from brineward.service.calendar_file import LARGEST_BYTES, NoCalendar, shifts_in
from brineward.texts.deadlines import Deadline, DeadlineAdapter

_LOG = logging.getLogger(__name__)

AHEAD: Final = 100 * DAY
"""How far ahead shifts are kept: as long as a calendar may be out of reach (common practice, no
source)."""
NEAR: Final = 60 * DAY
"""What has changed within this is news; what lies beyond comes with it."""
AFRESH: Final = 12 * HOUR
"""What has not changed is posted again after this, so that its age is known."""
_TIMEOUT_SECONDS: Final = 20.0
_TOO_SLOW: Final = "no whole answer in time"


class CalendarReading:
    """Reads the calendars of a config in turn, in its own thread; without any it does nothing."""

    def __init__(self, settings: Settings, clock: Clock) -> None:
        self._settings, self._clock = settings, clock
        self._stop = threading.Event()
        self._said: dict[str, str] = {}
        self._thread: threading.Thread | None = None

    def start(self) -> None:
        """Begin to read."""
        if self._settings.calendars:
            self._thread = threading.Thread(target=self._run, name="calendars", daemon=True)
            self._thread.start()

    def stop(self) -> None:
        """Stop reading."""
        self._stop.set()
        if self._thread is not None:
            self._thread.join(_TIMEOUT_SECONDS)

    def _run(self) -> None:
        pause = min(one.every_seconds for one in self._settings.calendars.values())
        while not self._stop.is_set():
            self.read_all()
            self._clock.wait(self._stop, pause)

    def read_all(self) -> list[RotaRead]:
        """Read each calendar once; what was posted since it had changed."""
        found = [self._read(depot, one) for depot, one in self._settings.calendars.items()]
        return [one for one in found if one is not None]

    def _read(self, depot: str, calendar: RotaCalendar) -> RotaRead | None:
        plan, now = self._settings.depots[depot], self._clock.now()
        try:
            raw = _raw(calendar.where, self._settings.file.parent)
            shifts = _shifts(plan, raw, now)
            with Journal.open(self._settings.journal.path) as journal:
                rota = Records(journal.handle).rota
                known, last = rota.shifts(depot), rota.last_read(depot)
                self._say(depot, "")
                same = _within(known, now, now + NEAR) == _within(shifts, now, now + NEAR)
                if same and last is not None and last <= now < last + AFRESH:
                    return None
                read = RotaRead(depot=depot, time=now, received=now, shifts=shifts)
                journal.inbox.post(read)
                return read
        except (OSError, requests.RequestException, HTTPError, NoCalendar) as why:
            # Not with the address: it may hold a key.
            reason = str(why) if isinstance(why, NoCalendar) else type(why).__name__
            self._say(
                depot, f"its calendar can't be read, so what was read last still applies: {reason}"
            )
        except (DiskTrouble, JournalUnusable) as why:
            self._say(depot, str(why))
        return None

    def _say(self, depot: str, sentence: str) -> None:
        """Once, and again when it has changed."""
        if sentence and self._said.get(depot) != sentence:
            _LOG.error("%s: %s", depot, sentence)
        self._said[depot] = sentence


def _raw(where: str, folder: Path) -> bytes:
    if "://" not in where:
        with (folder / where).open("rb") as file:
            return file.read(LARGEST_BYTES + 1)
    address = where.replace("webcal://", "https://", 1)
    with Deadline(_TIMEOUT_SECONDS) as deadline, requests.Session() as session:
        adapter = DeadlineAdapter(deadline)
        session.mount("http://", adapter)
        session.mount("https://", adapter)
        try:
            return _fetched(session, address, deadline)
        except (OSError, requests.RequestException, HTTPError):
            if deadline.expired:
                raise NoCalendar(_TOO_SLOW) from None
            raise


def _fetched(session: requests.Session, address: str, deadline: Deadline) -> bytes:
    with session.get(address, timeout=_TIMEOUT_SECONDS, stream=True) as answer:
        answer.raise_for_status()
        if answer.status_code != requests.codes.ok:
            raise NoCalendar(f"the server answers {answer.status_code} in place of a calendar")
        raw = answer.raw.read(LARGEST_BYTES + 1, decode_content=True) or b""
    if deadline.expired:  # cut off, an answer looks complete to the library
        raise NoCalendar(_TOO_SLOW)
    return raw


def _shifts(plan: DepotPlan, raw: bytes, now: Instant) -> tuple[Shift, ...]:
    minutes = plan.duty.rota.handover_minutes if plan.duty.rota is not None else 0
    shifts, unknown = shifts_in(
        raw, plan.duty.names, plan.zone, (now - DAY, now + AHEAD), handover_minutes=minutes
    )
    if unknown:
        _LOG.info("%s: calendar events that name no known person: %d", plan.id, len(unknown))
    return tuple(shifts)


def _within(shifts: tuple[Shift, ...], start: Instant, end: Instant) -> list[Shift]:
    """The shifts of a stretch, each cut to it."""
    cut = [replace(s, begins=max(s.begins, start), ends=min(s.ends, end)) for s in shifts]
    return [shift for shift in cut if shift.begins < shift.ends]
