"""Upkeep of the records: disk space, old readings, the write-ahead file, damaged pages.

Runs beside the watch with its own handle; what it finds is posted as entries, so that the engine
raises its alarms like any other.
"""

import logging
from pathlib import Path

from brineward.clock import Clock
from brineward.config.settings import Settings
from brineward.journal.journal import Journal
from brineward.journal.thinning import Thinned
from brineward.journal.trouble import DiskTrouble, JournalDamaged, JournalUnusable
from brineward.readings.entries import ServiceTrouble
from brineward.readings.instants import HOUR, SECOND, Instant
from brineward.service.box import BoxLook
from brineward.service.full_disk import thinned_up_to
from brineward.service.replying import Replies
from brineward.service.rounds import Rounds
from brineward.service.trouble_look import TroubleLook
from brineward.texts.usable import unusable_channels

_LOG = logging.getLogger(__name__)

MEGABYTE = 1_000_000

ROOM_FOR_RESERVE = 30 * MEGABYTE
"""The reserve is laid where it leaves this disk more than twice as much again."""

SHARES = 24 * 30
"""The whole journal is read once in so many hours: a month, and the engine is not held up."""


class Upkeep:
    """Jobs by the hour and by the minute.

    `damaged` is what the start found and could not save; empty where the journal was whole.
    `replies` are asked whether they are heard.
    """

    def __init__(
        self,
        settings: Settings,
        clock: Clock,
        replies: Replies | None = None,
        *,
        damaged: str = "",
    ) -> None:
        self._settings = settings.journal
        self._clock = clock
        self._damaged: str | None = None
        """The damage that was said last; empty: that there is none. None: nothing was said yet."""
        self._found = damaged
        # By the hour, so that it happens in a service that is often restarted too.
        self._share = clock.now() // HOUR % SHARES
        self._gone_up_to: Instant | None = None
        """Up to when raw readings were deleted since the disk was last well."""
        self._said: tuple[bool, str] | None = None
        self._began, self._steady_began = clock.now(), clock.monotonic_seconds()
        self._channels = TroubleLook(
            "channel-unusable",
            lambda: " ".join(unusable_channels(settings)),
            well="Every channel can be used.",
            clock=clock,
            post=self._post,
        )
        heard = TroubleLook(
            "replies-unheard",
            replies.unheard if replies is not None else str,
            well="Replies are heard.",
            clock=clock,
            post=self._post,
        )
        self._box = BoxLook(clock, self._post)
        self._rounds = Rounds(
            clock,
            {
                self.look_at_disk: 60.0,
                self._channels.look: 30.0,
                heard.look: 30.0,
                self._box.look: 60.0,
                self.thin: 3600.0,
                self.check_records: 3600.0,
            },
        )

    def start(self) -> None:
        """Begin; the first look at the disk is at once, and so is the report on the records."""
        for job in (self.look_at_disk, self.say_damage, self._channels.look, self._box.look):
            try:
                job()
            except (DiskTrouble, JournalUnusable) as why:
                _LOG.error("upkeep: %s", why)
        self._rounds.start()

    def stop(self) -> None:
        """End; a job under way is waited for."""
        self._rounds.stop()

    def went_round(self) -> float | None:
        """When its thread last came round, on the clock that never steps; None before it began."""
        return self._rounds.went_round

    def is_alive(self) -> bool:
        """Does its thread run?"""
        return self._rounds.is_alive()

    def note_thinned(self, thinned: Thinned) -> None:
        """A full disk has cost readings; reported at the next check. From any thread."""
        self._gone_up_to = thinned.up_to or self._gone_up_to

    def report_again(self) -> None:
        """After a full disk, which another thread reported: report again. From any thread."""
        self._said = None

    def look_at_disk(self, free_bytes: int | None = None) -> None:
        """Report when room runs low, and thin out the oldest raw readings when it runs out.

        `free_bytes` replaces the disk's own count.
        """
        with self._journal() as journal:
            state = journal.room.disk_state(self._settings, free_bytes=free_bytes)
            if state.verdict == "thin":
                wanted = self._settings.disk_thin_bytes - state.room_bytes
                thinned = journal.thinning.thin_oldest(max(wanted, MEGABYTE))
                _LOG.warning("the disk is nearly full: %s", thinned)
                self.note_thinned(thinned)
            elif state.free_bytes > ROOM_FOR_RESERVE:
                journal.room.lay_reserve()
            self._say(journal, low=state.verdict != "room", free=state.free_bytes)

    def thin(self) -> None:
        """Delete raw readings older than the set time; alarms and records stay."""
        with self._journal() as journal:
            thinned = journal.thinning.thin(self._now(), self._settings.keep_readings_seconds)
            journal.room.checkpoint()
            _LOG.info("old readings: %s", thinned)

    def _now(self) -> Instant:
        """Now, or what it would be had the clock not been set ahead since the start: a wrong clock
        must not make this year's readings look old."""
        elapsed = self._clock.monotonic_seconds() - self._steady_began
        return min(self._clock.now(), self._began + round(elapsed * SECOND) + HOUR)

    def check_records(self) -> None:
        """Read the next share of the journal, and say what can't be read any more."""
        with self._journal() as journal:
            try:
                checked = journal.checking.check_share(self._share, SHARES)
            except JournalDamaged as damage:
                self._found = f"the journal is damaged: {damage}"
            else:
                if checked.unreadable:
                    rows = "row" if checked.unreadable == 1 else "rows"
                    self._found = (
                        f"{checked.unreadable} {rows} of the journal can't be read any more"
                    )
        self._share = (self._share + 1) % SHARES
        if self._found:
            _LOG.error("%s", self._found)
        self.say_damage()

    def say_damage(self) -> None:
        """Post what is known of damage if it has changed; at the start always.

        The last run may have left another state; what this run has found stays until the next
        start, which rescues what can be read.
        """
        if self._damaged == self._found:
            return
        with self._journal() as journal:
            journal.inbox.post(
                ServiceTrouble(
                    time=self._clock.now(),
                    trouble="records-damaged",
                    present=bool(self._found),
                    sentence=self._found or "the journal was read through and is whole",
                )
            )
        self._damaged = self._found

    def _say(self, journal: Journal, *, low: bool, free: int) -> None:
        """Post what has changed; at the start always, since the last run may have left it so."""
        gone = thinned_up_to(self._gone_up_to)
        if self._said == (low, gone) or (self._said is not None and not low and not self._said[0]):
            return
        journal.inbox.post(
            ServiceTrouble(
                time=self._clock.now(),
                trouble="disk-low",
                present=low,
                sentence=f"{free // MEGABYTE} MB left on the journal's disk{gone}",
            )
        )
        if not low:
            self._gone_up_to = None
        self._said = (low, gone)

    def _post(self, entry: ServiceTrouble) -> None:
        with self._journal() as journal:
            journal.inbox.post(entry)

    def _journal(self) -> Journal:
        return Journal.open(Path(self._settings.path))
