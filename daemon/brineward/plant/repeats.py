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


class _Longest:
    """The longest repeats of the last week, and how long one must be to show a stuck sensor."""

    def __init__(self) -> None:
        self.enough = STUCK_READINGS
        self.day_ends: Instant = 0
        """The end of the newest day that is remembered."""
        self._days: list[list[int]] = []
        """The longest repeat of each day of the last week: the day's number, and readings."""

    def learn(self, time: Instant, run: int) -> None:
        """A repeat of so many readings has ended, or a day has."""
        if time >= self.day_ends:
            today = time // DAY
            self._days = [[day, most] for day, most in self._days if day >= today - _DAYS]
            self._days.append([today, 0])
            self.day_ends = (today + 1) * DAY
        elif run <= self._days[-1][1]:
            return
        self._days[-1][1] = run
        longest = max(most for _, most in self._days)
        self.enough = max(STUCK_READINGS, STUCK_TIMES_LONGEST * longest + 1)

    def snapshot(self) -> list[Any]:
        """The week as plain data."""
        return [self.enough, self.day_ends, [list(day) for day in self._days]]

    def restore(self, data: list[Any]) -> None:
        """Become what `snapshot` wrote."""
        self.enough, self.day_ends, days = data
        self._days = [list(day) for day in days]


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
        self._usual, self._at_zero = _Longest(), _Longest()
        """Where rest at zero is natural, it is remembered apart: what an empty hopper shows for a
        day says nothing of how long its sensor repeats itself in salt."""
        self._longest = self._usual
        """The one that the newest value belongs to."""
        self._named_at = self._moves = self._zeros_left = 0

    def add(self, time: Instant, value: float) -> bool:
        """Take one plausible value; times must rise. Is it stuck now, or no longer?"""
        if value == self._value:
            self._run += 1
            return self._run >= self._longest.enough and self.stuck_at is None and self._stuck(time)
        run, longest = self._run, self._longest
        stuck = self.stuck_at
        freed = stuck is not None and self._freed(run)
        if self.stuck_at is None:
            if freed:
                run, longest = self._named_at, self._longest_of(stuck)
            if run > 1 or time >= longest.day_ends:
                self._learn(longest, time, run)
            self._known += 1
            self._changed += 1
            if self._known >= _MOST_KNOWN:
                self._forget()
            if self._rests_at_zero and self._value is not None and self._value <= 0.0:
                self._zeros_left = min(self._zeros_left + 1, _SEEN_TO_LEAVE_ZERO)
        self._value, self._since, self._run = value, time, 1
        if self._rests_at_zero:
            self._longest = self._longest_of(value)
        return freed

    def _longest_of(self, value: float | None) -> _Longest:
        rests = self._rests_at_zero and value is not None and value <= 0.0
        return self._at_zero if rests else self._usual

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

    def _learn(self, longest: _Longest, time: Instant, run: int) -> None:
        """A repeat has ended, or a day has.

        What was called stuck teaches no more than the readings that it took to be called that: so
        a sensor is called stuck again, and one whose rest is healthy after all ever more seldom.
        """
        self._known += max(0, run - 1)
        longest.learn(time, run)

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
            self._usual.snapshot(),
            self._at_zero.snapshot(),
            self._named_at,
            self._moves,
            self._zeros_left,
        ]

    def restore(self, data: list[Any]) -> None:
        """Become what `snapshot` wrote."""
        self.stuck_at, self.stuck_since, self._value, self._since, self._run = data[:5]
        self._changed, self._known, usual, at_zero = data[5:9]
        self._named_at, self._moves, self._zeros_left = data[9:]
        self._usual.restore(usual)
        self._at_zero.restore(at_zero)
        self._longest = self._longest_of(self._value)
