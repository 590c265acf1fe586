"""Texts at a set time of the depot's clock: the daily line, which gives whoever is on call the
depot's state, and the weekly test of the way to them.

If the line doesn't come, the service has failed, which a quiet night would not show.
"""

from datetime import datetime, time, timedelta, tzinfo
from typing import Any, Final

from brineward.readings.instants import HOUR, SECOND, Instant, local_from_instant

LATE: Final = 3 * HOUR
"""After so long the line of a morning is not sent any more: the next one comes (common practice, no
source)."""


class SetTime:
    """When the next text of a set time is due, each day or on one weekday; never, where there is no
    time for it. `minutes` are of the depot's day; `weekday` from 0, Monday."""

    def __init__(self, zone: tzinfo, minutes: int | None, weekday: int | None = None) -> None:
        self._minutes, self._zone, self._weekday = minutes, zone, weekday
        self.due: Instant | None = None

    @property
    def unlooked(self) -> bool:
        """Is one wanted, whose time is not known yet?"""
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
        for days in range(9):
            day = local.date() + timedelta(days=days)
            if self._weekday is not None and day.weekday() != self._weekday:
                continue
            moment = datetime.combine(day, at, tzinfo=self._zone)
            # Through UTC, since a day on which the clocks change is an hour shorter or longer.
            due = round(moment.timestamp() * SECOND)
            if due > now:
                return due
        raise AssertionError("each weekday comes within eight days")

    def shift(self, by: Instant) -> None:
        """The clock was set by `by` milliseconds: it shows another time, but a set time is by what
        it shows. One that was passed over is due at once; back, it is looked for anew."""
        if by < 0:
            self.due = None

    def snapshot(self) -> Any:
        """As plain data."""
        return self.due

    def restore(self, data: Any) -> None:
        """Become what `snapshot` wrote; a plan without a time for it has none."""
        self.due = data if self._minutes is not None else None
