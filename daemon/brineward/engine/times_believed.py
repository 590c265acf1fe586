"""Which times the engine believes, and from when on news is old or a watch was none."""

from collections.abc import Callable

from brineward.readings.entries import Act, Entry
from brineward.readings.instants import DAY, MINUTE, Instant, instant_from_rfc3339
from brineward.readings.values import Reading, Refusal, TimedBy

LAGGING = MINUTE
"""While news is older than this, silence means nothing: each topic comes in its own order."""

LONGEST_GAP = DAY
"""A step of time longer than this was no watch: a machine that slept."""

FIRST, LAST = 0, instant_from_rfc3339("9000-01-01T00:00:00Z")
"""What is from another time than this changes nothing: no clock of ours has shown it."""

AHEAD, LONGEST_PAST = 2 * MINUTE, 366 * DAY
"""A reading from further in the future or the past than this shows a wrong clock."""

LATE_FOR_LONG = 10 * MINUTE
"""Readings that come late for longer than this come from a clock that is behind."""


def goes_by_arrival(reading: Reading, received: Instant) -> bool:
    """Has its time to be its arrival's? A little ahead it is as good as now."""
    wrong = reading.time > received + AHEAD or reading.time < received - LONGEST_PAST
    return wrong or reading.timed_by is not TimedBy.SENSOR


def time_of(entry: Entry) -> Instant:
    """By our own clock, where the entry says that."""
    return entry.received if isinstance(entry, Reading | Refusal) else entry.time


def lag_of_act(act: Act, now: Instant, counted: Callable[[Instant], Instant]) -> int:
    """How old the news is, in ms, among which an act was let through; 0 for what is of now.

    `now` is what its depot has come to, and `counted` turns what this machine's clock shows into
    the engine's time.
    """
    if not FIRST <= act.received <= LAST:
        return 0
    lag = counted(act.received) - max(counted(act.time), now)
    return lag if lag > LAGGING else 0


def moved(reading: Reading, by: Instant) -> Reading:
    """The same reading where it made the engine count by another clock, `by` ms from the old."""
    return reading._replace(time=reading.time + by) if by else reading
