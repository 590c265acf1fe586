"""The depot's mode in the engine: set by people or by its schedule, and what follows at once."""

from collections.abc import Callable, Sequence
from typing import Any, Literal

from brineward.alarms.condition import Site
from brineward.book.book import AlarmBook
from brineward.book.booked_alarm import Change
from brineward.plant.seasons import Due
from brineward.readings.entries import ModeSet
from brineward.readings.instants import DAY, HOUR, MINUTE, Instant
from brineward.readings.modes import Mode
from brineward.readings.outputs import EpisodeChanged, Output, Priority
from brineward.telling.mode_words import scheduled_text, unwatched_text
from brineward.telling.pacing import not_before
from brineward.telling.telling import OLD_NEWS, Telling

UNWATCHED_AFTER = HOUR
"""A laid-up depot that is silent for this long has been switched off: nothing watches it then."""


class DepotModes:
    """Follows the schedule, keeps what a mode has begun, and says once what nobody would notice.

    `told` turns changes of alarms into outputs with their texts.
    """

    def __init__(
        self,
        site: Site,
        book: AlarmBook,
        telling: Telling,
        told: Callable[[Sequence[Change]], list[Output]],
    ) -> None:
        self._plan, self._tracker = site.plan, site.trackers.mode
        self._hearing, self._link = site.watch.hearing, site.watch.link
        self._book, self._telling, self._told = book, telling, told
        self._followed: Instant = 0
        """Up to when the schedule was followed; 0 before the first entry."""
        self._due: Due | None = None
        self._due_known = False
        self._say: Literal["", "scheduled", "unwatched"] = ""
        self._say_at: Instant | None = None
        """When the first on call is to be told, or when it is to be checked again."""
        self._unwatched = False
        """Has it been said in this mode that nobody watches?"""

    @property
    def next_deadline(self) -> Instant | None:
        """When the schedule sets a mode, or something is to be said; None while nothing waits."""
        if not self._due_known:
            zone, seasons = self._plan.zone, self._plan.seasons
            self._due = seasons.next_after(self._followed, zone) if self._followed else None
            self._due_known = True
        if self._due is None or (self._say_at is not None and self._say_at < self._due.at):
            return self._say_at
        return self._due.at

    def follow(self, now: Instant) -> None:
        """Time has come to `now`, and what was due has been done."""
        if self._followed < now:
            if self._followed == 0:
                self._due_known = False
            self._followed = now

    def set(self, entry: ModeSet, now: Instant) -> list[Output]:
        """Somebody has set the mode."""
        outputs = self._set(entry, now)
        if self._say == "scheduled":
            self._wait_for_silence(now)  # who sets it knows
        return outputs

    def fire(self, deadline: Instant, now: Instant, lag: Instant) -> list[Output]:
        """Do what is due up to a deadline."""
        outputs: list[Output] = []
        if self._due is not None and self._due.at <= deadline:
            outputs += self._begin_season(self._due, now)
        if self._say_at is not None and self._say_at <= deadline:
            outputs += self._speak(now, lag)
        return outputs

    def _begin_season(self, due: Due, now: Instant) -> list[Output]:
        self._followed, self._due_known = max(self._followed, due.at), False
        before = self._tracker.mode
        entry = ModeSet(depot=self._plan.id, time=due.at, received=due.at, mode=due.mode)
        outputs = self._set(entry, now)
        if due.mode is not before:
            self._say, self._say_at = "scheduled", now
        return outputs

    def _set(self, entry: ModeSet, now: Instant) -> list[Output]:
        tracker = self._tracker
        before, since = tracker.mode, tracker.since
        outputs: list[Output] = []
        if tracker.set(entry, now):
            if since:
                outputs.append(self._episode(before, since, now, ended=now))
            outputs.append(self._episode(tracker.mode, now, now, ended=None))
            outputs += self._told(self._book.mode_changed(now))
            self._unwatched = False
            self._wait_for_silence(now)
        return outputs + self._told(self._book.judge_after(tracker, now))

    def _episode(
        self, mode: Mode, began: Instant, now: Instant, *, ended: Instant | None
    ) -> EpisodeChanged:
        return EpisodeChanged(
            time=now,
            depot=self._plan.id,
            episode="mode",
            source=mode.value,
            began=began,
            ended=ended,
        )

    # -- what the first on call is told once

    def _speak(self, now: Instant, lag: Instant) -> list[Output]:
        if lag > OLD_NEWS:
            self._say_at = now + MINUTE
            return []
        at = self._telling.not_before_resumed(now)
        at = not_before(Priority.LOW, self._plan.zone, at)
        if at > now:
            self._say_at = at
            return []
        text = ""
        if self._say == "scheduled":
            text = scheduled_text(self._plan, self._tracker.mode)
        elif (self._silence(now) or 0) >= UNWATCHED_AFTER:
            text = unwatched_text(self._plan)
            self._unwatched = True
        self._wait_for_silence(now)
        return [*self._telling.news(text, now)] if text else []

    def _wait_for_silence(self, now: Instant) -> None:
        """Look again when a laid-up depot has been silent for long, should nothing more come."""
        if self._tracker.mode is Mode.LAID_UP and not self._unwatched:
            left = max(MINUTE, UNWATCHED_AFTER - (self._silence(now) or 0))
            self._say, self._say_at = "unwatched", now + left
        else:
            self._say, self._say_at = "", None

    def _silence(self, now: Instant) -> Instant | None:
        return self._link.silence(self._hearing.last_heard, now)

    # -- this machine's clock, and plain data

    def shift(self, by: Instant, now: Instant) -> None:
        """The clock was set: it is `now`, `by` milliseconds from where it was.

        A date that was passed over is followed at once; one that has been is not followed twice.
        """
        if self._say_at is not None:
            self._say_at += by
        if self._followed - now > DAY:
            self._followed = now
        self._due_known = False

    def snapshot(self) -> list[Any]:
        """What is remembered beside the tracker, as plain data."""
        return [self._followed, self._say, self._say_at, self._unwatched]

    def restore(self, data: list[Any]) -> None:
        """Become what `snapshot` wrote."""
        self._followed, self._say, self._say_at, self._unwatched = data
        self._due_known = False
