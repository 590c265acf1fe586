"""Reminding people of what is out of service: once a week, at an hour when nobody sleeps."""

from collections.abc import Iterable
from datetime import tzinfo
from typing import Any, Final

from brineward.book.booked_alarm import BookedAlarm
from brineward.readings.instants import DAY, Instant
from brineward.readings.outputs import Priority
from brineward.telling.pacing import not_before

EVERY: Final = 7 * DAY
"""What is forgotten out of service is worse than none (common practice, no source)."""


class Reminding:
    """When the next reminder is due."""

    def __init__(self, alarms: Iterable[BookedAlarm], zone: tzinfo) -> None:
        self._alarms = tuple(alarms)
        self._zone = zone
        self.due: Instant | None = None

    @property
    def removed(self) -> list[BookedAlarm]:
        """What is out of service now."""
        return [booked for booked in self._alarms if booked.life.out_of_service is not None]

    def follow(self, now: Instant) -> None:
        """Something was put out of service, or back."""
        if not self.removed:
            self.due = None
        elif self.due is None:
            self._next(now)

    def remind(self, deadline: Instant, now: Instant) -> list[BookedAlarm]:
        """What to remind of, where that is due by then."""
        if self.due is None or self.due > deadline:
            return []
        self._next(now)
        return self.removed

    def _next(self, now: Instant) -> None:
        self.due = not_before(Priority.LOW, self._zone, now + EVERY)

    def shift(self, by: Instant) -> None:
        """The clock was set: shift what is remembered by `by` milliseconds."""
        if self.due is not None:
            self.due += by

    def snapshot(self) -> Any:
        """As plain data."""
        return self.due

    def restore(self, data: Any) -> None:
        """Become what `snapshot` wrote."""
        self.due = data
