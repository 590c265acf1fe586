"""Says that the service is alive, but only while reader and sender truly go round."""

import logging
import os
from collections.abc import Callable
from typing import Any, Final

from brineward import __version__
from brineward.clock import Clock
from brineward.config.settings import Settings
from brineward.journal import DiskTrouble, Journal
from brineward.service.notices import Notices
from brineward.service.parts import PartsLook
from brineward.texts.follower import TextsFollower

BEAT_SECONDS: Final = 10.0
"""How often the journal is told that the service is alive."""

STUCK_SECONDS: Final = 120.0
"""A sender whose turn has not ended for so long is stuck, and so is the service; or none of whose
turns has ended well for so long, unless it is the disk that refuses."""

_LOG = logging.getLogger(__name__)


class Beat:
    """Tells systemd and the journal that the service is alive, after each round of the worker."""

    def __init__(
        self,
        journal: Journal,
        clock: Clock,
        notices: Notices,
        texts: TextsFollower,
        *,
        parts: PartsLook,
        on_beat: Callable[[], None],
    ) -> None:
        self._journal = journal
        self._clock = clock
        self._notices = notices
        self._texts = texts
        self._parts = parts
        self._on_beat = on_beat
        self._began = self._last = clock.monotonic_seconds()
        self._said_failing = False

    def first(self, settings: Settings) -> None:
        """The service has started."""
        now = self._clock.now()
        self._note(
            beat=now,
            pid=os.getpid(),
            version=__version__,
            config_hash=settings.hash,
            started=now,
        )

    def stopped(self) -> None:
        """The service ends because it was told to."""
        try:
            self._journal.signs_of_life.note_stopped(self._clock.now())
        except DiskTrouble as why:
            _LOG.error("that the service was stopped could not be recorded: %s", why)

    def turn(self) -> None:
        """The worker has gone round once."""
        try:
            self._parts.look()
        except DiskTrouble as why:
            _LOG.error("a stopped part could not be recorded: %s", why)
        if not self._texts_go_round():
            return
        self._notices.alive()
        now = self._clock.monotonic_seconds()
        if now - self._last >= BEAT_SECONDS:
            self._last = now
            self._note(beat=self._clock.now())
            self._on_beat()

    def _texts_go_round(self) -> bool:
        """A sender that a disk refuses goes round as well: then a restart helps nobody. One that
        fails for another reason at every turn sends nothing, and a restart may mend that."""
        now, went_round = self._clock.monotonic_seconds(), self._texts.went_round()
        if not self._texts.is_alive() or (
            went_round is not None and now - went_round > STUCK_SECONDS
        ):
            return False
        failure = self._texts.failure()
        if failure is None or isinstance(failure, DiskTrouble):
            self._said_failing = False
            return True
        progress = self._texts.progress()
        since = self._began if progress is None else progress.monotonic_seconds
        if now - since <= STUCK_SECONDS:
            return True
        if not self._said_failing:
            self._said_failing = True
            _LOG.error(
                "texts can't be sent for %.0f s now; the service needs a restart", now - since
            )
        return False

    def _note(self, **said: Any) -> None:
        try:
            self._journal.signs_of_life.note(**said)
        except DiskTrouble as why:
            _LOG.error("the sign of life could not be recorded: %s", why)
