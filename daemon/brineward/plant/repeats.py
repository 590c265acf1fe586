"""How long a sensor repeats itself: that shows one that is stuck. Mutable, but pure.

Everything is counted in whole numbers, so that all processors agree.
"""

from typing import Any

from brineward.plant.plan import Measure
from brineward.readings.instants import DAY, SECOND, Instant

STUCK_SECONDS, STUCK_READINGS = 600.0, 30
"""The same value for so long and in so many readings, at least, before a sensor is called stuck,"""
STUCK_TIMES_LONGEST = 4
"""and for more than so many times the longest repeat of the last week (common practice, no source;
a reading that repeats half of the time does so thirty times running once in 10^9)."""
RESTLESS_PERCENT = 55
"""What changes in a smaller share of its readings is never called stuck: a coarse thermometer rests
for hours. A value between two steps flickers half of the time, however still what it measures."""
FREED_AFTER = 6
"""A stuck sensor has to move so many times running before it is believed again."""
FEWEST_KNOWN = 100

_MOST_KNOWN = 600  # then what is known counts for half: the memory is 300 to 600 readings
_STILL = 10  # a repeat this long is no movement
_SEEN_TO_LEAVE_ZERO = 20  # before that, a dry probe, a still pump, an empty hopper rest at nothing
_DAYS = 7
_RESTS_AT_ZERO = frozenset(
    {Measure.CONDUCTIVITY, Measure.FLOW, Measure.CURRENT, Measure.LEVEL, Measure.SALT_LEVEL}
)


class Repeats:
    """The repeats of one sensor that publishes by the clock (not on change)."""

    def __init__(self, measures: Measure) -> None:
        self.stuck_at: float | None = None
        """The value that it is stuck at, SI; None while it isn't stuck."""
        self.stuck_since: Instant = 0
        self._rests_at_zero = measures in _RESTS_AT_ZERO
        self._value: float | None = None
        self._since: Instant = 0
        self._run = 0
        """How many readings have had the newest value."""
        self._changed = self._known = 0
        """Of so many readings lately, so many differed from the one before."""
        self._days: list[list[int]] = []
        """The longest repeat of each day of the last week: the day's number, and readings."""
        self._day_ends: Instant = 0
        self._enough = STUCK_READINGS
        self._named_at = self._moves = self._zeros_left = 0

    def add(self, time: Instant, value: float) -> bool:
        """Take one plausible value; times must rise. Is it stuck now, or no longer?"""
        if value == self._value:
            self._run += 1
            return self._run >= self._enough and self.stuck_at is None and self._stuck(time)
        run = self._run
        freed = self.stuck_at is not None and self._freed(run)
        if self.stuck_at is None:
            if freed:
                run = self._named_at
            if run > 1 or time >= self._day_ends:
                self._learn(time, run)
            self._known += 1
            self._changed += 1
            if self._known >= _MOST_KNOWN:
                self._forget()
            if self._rests_at_zero and self._value is not None and self._value <= 0.0:
                self._zeros_left = min(self._zeros_left + 1, _SEEN_TO_LEAVE_ZERO)
        self._value, self._since, self._run = value, time, 1
        return freed

    def _stuck(self, time: Instant) -> bool:
        """The repeat is long enough in readings: is it in time, and is the sensor restless?"""
        value = self._value
        if time - self._since < STUCK_SECONDS * SECOND or self._known < FEWEST_KNOWN:
            return False
        if value is None or self._changed * 100 < RESTLESS_PERCENT * self._known:
            return False
        if self._rests_at_zero and value <= 0.0 and self._zeros_left < _SEEN_TO_LEAVE_ZERO:
            return False
        self.stuck_at, self.stuck_since = value, self._since
        self._named_at = self._run
        self._moves = 0
        return True

    def _freed(self, run: int) -> bool:
        """A stuck sensor has moved, after so many readings: is it enough?"""
        self._moves = 1 if run >= _STILL else self._moves + 1
        if self._moves < FREED_AFTER:
            return False
        self.stuck_at = None
        return True

    def _learn(self, time: Instant, run: int) -> None:
        """A repeat has ended, or a day has.

        What was called stuck teaches no more than the readings that it took to be called that: so
        a sensor is called stuck again, and one whose rest is healthy after all ever more seldom.
        """
        self._known += max(0, run - 1)
        if time >= self._day_ends:
            today = time // DAY
            self._days = [[day, most] for day, most in self._days if day >= today - _DAYS]
            self._days.append([today, 0])
            self._day_ends = (today + 1) * DAY
        elif run <= self._days[-1][1]:
            return
        self._days[-1][1] = run
        longest = max(most for _, most in self._days)
        self._enough = max(STUCK_READINGS, STUCK_TIMES_LONGEST * longest + 1)

    def _forget(self) -> None:
        while self._known >= _MOST_KNOWN:
            self._known //= 2
            self._changed //= 2

    def snapshot(self) -> list[Any]:
        """The repeats as plain data."""
        return [
            self.stuck_at,
            self.stuck_since,
            self._value,
            self._since,
            self._run,
            self._changed,
            self._known,
            [list(day) for day in self._days],
            self._day_ends,
            self._enough,
            self._named_at,
            self._moves,
            self._zeros_left,
        ]

    def restore(self, data: list[Any]) -> None:
        """Become what `snapshot` wrote."""
        self.stuck_at, self.stuck_since, self._value, self._since, self._run = data[:5]
        self._changed, self._known, days, self._day_ends, self._enough = data[5:10]
        self._named_at, self._moves, self._zeros_left = data[10:]
        self._days = [list(day) for day in days]
