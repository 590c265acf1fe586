"""Are old readings a backlog, which gets shorter as it is worked off, or do all readings come late?

While a backlog is arriving, time must not run ahead of it. But a depot whose gateway always keeps
readings back for a while never brings anything newer: waiting for it would be waiting for ever,
with no deadline judged and no act taken.
"""

import logging
from typing import Final

from brineward.readings.instants import SECOND

_LOG = logging.getLogger(__name__)

PATIENCE_SECONDS: Final = 60.0
"""News that in so long has not caught up by half of it comes late by its nature: a backlog is
worked off many times as fast as it was sent; common practice, no source."""


class Lateness:
    """How late news is by its nature, in ms; 0 while that is not known."""

    def __init__(self) -> None:
        self.usual = 0
        self._since: float | None = None
        self._age = 0

    def link_changed(self) -> None:
        """What comes after it may be a backlog."""
        self.usual, self._since = 0, None

    def heard(self, age: int, now: float) -> None:
        """The newest of a round is so old, in ms; `now` in seconds of a clock that never steps."""
        if self._since is None:
            self._since, self._age = now, age
            return
        waited = now - self._since
        if waited < PATIENCE_SECONDS:
            return
        if age > self._age - waited * SECOND / 2:
            self.usual = max(self.usual, age)
            _LOG.warning(
                "readings have come %d s late for %d s and don't catch up: time goes on without"
                " waiting for newer ones; is a gateway's clock or network slow?",
                age // SECOND,
                waited,
            )
        self._since, self._age = now, age
