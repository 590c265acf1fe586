"""The daily line: at a set time of the depot's clock who is on call is told how the depot is.

A line that stays away says that the watch is dead, which a quiet night does not.
"""

from datetime import datetime, time, timedelta
from typing import Any, Final

from brineward.plant.plan import DepotPlan
from brineward.readings.instants import HOUR, SECOND, Instant, local_from_instant

LATE: Final = 3 * HOUR
"""After so long the line of a morning is not sent any more: the next one comes (common practice, no
source)."""


class Daily:
    """When the next line is due; never, where the plan has no time for it."""

    def __init__(self, plan: DepotPlan) -> None:
        self._minutes, self._zone = plan.duty.daily_minutes, plan.zone
        self.due: Instant | None = None

    @property
    def unlooked(self) -> bool:
        """Is one wanted, and nobody knows yet when?"""
        return self._minutes is not None and self.due is None

    def look(self, now: Instant) -> None:
        """Find when the next one is due after `now`."""
        self.due = None if self._minutes is None else self._next_after(now, self._minutes)

    def fell_due(self, deadline: Instant, now: Instant) -> bool:
        """Is a line to be sent, since it was due by then and not too long ago?"""
        if self.due is None or self.due > deadline:
            return False
        wanted = now - self.due <= LATE
        self.look(now)
        return wanted

    def _next_after(self, now: Instant, minutes: int) -> Instant:
        local = local_from_instant(now, self._zone)
        at = time(minutes // 60, minutes % 60)
        for days in range(3):
            moment = datetime.combine(local.date() + timedelta(days=days), at, tzinfo=self._zone)
            # Through UTC, since a day on which the clocks change is an hour shorter or longer.
            due = round(moment.timestamp() * SECOND)
            if due > now:
                return due
        raise AssertionError("one of three days is ahead")

    def shift(self, now: Instant) -> None:
        """Time is counted anew: look again at the next chance."""
        self.due = None

    def snapshot(self) -> Any:
        """As plain data."""
        return self.due

    def restore(self, data: Any) -> None:
        """Become what `snapshot` wrote; a plan without a time for it has none."""
        self.due = data if self._minutes is not None else None
