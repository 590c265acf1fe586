"""How fast something was used up lately: what had been used by each hour, for as long as a weekend.

Mutable, but pure; a part of what it counts for, and no tracker of its own.
"""

from collections.abc import Sequence
from typing import Any

from brineward.plant.tracker import shifted
from brineward.readings.instants import DAY, HOUR, SECOND, Instant

WEEKEND = 66 * HOUR
"""From Friday noon to Monday 06:00: a weekend is foretold by as long before it. Salt is used in
storms, and a night of one, taken for the next three days, says more than will be used."""
SHORTEST = 12 * HOUR
"""From less than this nobody can say what is used in a day."""


class RecentUse:
    """What had been used, in a unit of the caller's, at the first look of each hour."""

    def __init__(self) -> None:
        self._hours: list[tuple[Instant, float]] = []

    def note(self, time: Instant, used: float) -> None:
        """So much had been used since the beginning."""
        hours = self._hours
        if hours and time // HOUR == hours[-1][0] // HOUR:
            return
        hours.append((time, round(used, 4)))
        while len(hours) > 1 and hours[1][0] <= time - WEEKEND:
            hours.pop(0)

    def since(self, now: Instant, used: float, over: Instant = DAY) -> tuple[float, float] | None:
        """What was used in the last `over` milliseconds (`WEEKEND` at most), and in how many s.

        The hour in which that began counts with it. None from less than `SHORTEST`.
        """
        began = self._at(now - over)
        if began is None or now - began[0] < SHORTEST:
            return None
        return used - began[1], (now - began[0]) / SECOND

    def used_at(self, at: Instant, used: float) -> float:
        """What had been used by then, to the hour; at its earliest hour before that.

        `used` is what has been used by now.
        """
        if not self._hours or at >= self._hours[-1][0]:
            return used
        began = self._at(at)
        return used if began is None else began[1]

    def _at(self, at: Instant) -> tuple[Instant, float] | None:
        for hour in reversed(self._hours):
            if hour[0] <= at:
                return hour
        return self._hours[0] if self._hours else None

    def shift(self, by: Instant) -> None:
        """The clock was set: shift what is remembered by `by` milliseconds."""
        self._hours = [(shifted(time, by), used) for time, used in self._hours]

    def snapshot(self) -> list[Any]:
        """What is remembered, as plain data."""
        return [list(hour) for hour in self._hours]

    def restore(self, data: Sequence[Any]) -> None:
        """Become what `snapshot` wrote."""
        self._hours = [(int(time), float(used)) for time, used in data]
