"""This machine's clock as the engine counts it: setting the clock is not the passing of time.

When the clock is set, the engine goes on counting as if it had not been, and finds out which of
the two is right: sensors that send their own times agree with one of them. If they agree with the
new one, or if for some minutes nothing contradicts it, the engine adopts it.
"""

from typing import Any

from brineward.readings.instants import MINUTE, Instant

AGREES = MINUTE
"""A reading's own time agrees with a clock that is no further ahead of it than this,"""
AHEAD = 10_000
"""and no further behind."""
SMALL = AHEAD
"""A clock that was set by no more than this is believed at once: no delay is known that well."""
BELIEVED_AFTER = 5 * MINUTE
"""A clock that was set is believed when no sensor has contradicted it for this long."""


class OwnClock:
    """How far what the clock shows is from what the engine counts."""

    def __init__(self) -> None:
        self.skew = 0
        """How much more the clock shows, in ms."""
        self.believed_at: Instant | None = None
        """When the step is adopted if no sensor contradicts it, as the engine counts."""

    def counted(self, shown: Instant) -> Instant:
        """A time of the clock, as the engine counts."""
        return shown - self.skew

    def stepped(self, by: int, now: Instant) -> None:
        """The clock was set."""
        self.skew += by
        if abs(self.skew) <= SMALL:
            self.skew = 0
        self.believed_at = now + BELIEVED_AFTER if self.skew else None

    def agrees(self, shown: Instant, own: Instant, now: Instant) -> bool:
        """Does a reading with its own time, received when the clock showed this, agree with the
        clock as it was set? One that agrees with what is counted contradicts that.
        """
        if -AHEAD <= self.counted(shown) - own <= AGREES:
            self.believed_at = now + BELIEVED_AFTER
            return False
        return -AHEAD <= shown - own <= AGREES

    def taken_over(self) -> int:
        """The engine counts by the clock again; returns how far that is from what it counted."""
        by, self.skew, self.believed_at = self.skew, 0, None
        return by

    def snapshot(self) -> list[Any]:
        """What is remembered, as plain data."""
        return [self.skew, self.believed_at]

    def restore(self, data: list[Any]) -> None:
        """Become what `snapshot` wrote."""
        self.skew, self.believed_at = data
