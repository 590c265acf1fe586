"""When people are texted: at once or in the morning, and when the next if nobody takes it."""

from datetime import datetime, time, timedelta, tzinfo

from brineward.readings.instants import HOUR, SECOND, Instant, local_from_instant
from brineward.readings.outputs import Priority

WAKING_HOURS = (7, 21)
"""Low priorities are texted between these hours of depot time (common practice, no source)."""

ROUTINE_HOUR = 10
"""What a morning's work usually settles is texted at this hour (common practice, no source)."""

SHORTEST_PAUSE_SECONDS = 90.0
"""Less, and nobody can wake up, read and answer (common practice, no source)."""


def not_before(
    priority: Priority, zone: tzinfo, now: Instant, *, routine_since: Instant | None = None
) -> Instant:
    """When a text may go out: now, or for low priorities the next morning.

    What asks for routine work since `routine_since` waits until a morning's work may have done it.
    """
    if priority is not Priority.LOW:
        return now
    if routine_since is not None:
        now = max(now, next_at(ROUTINE_HOUR, zone, routine_since))
    first, last = WAKING_HOURS
    if first <= local_from_instant(now, zone).hour < last:
        return now
    return next_at(first, zone, now)


def next_at(hour: int, zone: tzinfo, now: Instant) -> Instant:
    """The next time that the depot's clock shows this hour."""
    local = local_from_instant(now, zone)
    day = local.date() + timedelta(days=1 if local.hour >= hour else 0)
    at = datetime.combine(day, time(hour), tzinfo=zone)
    # Through UTC, since a night in which the clocks change is an hour shorter or longer.
    return now + round((at.timestamp() - local.timestamp()) * SECOND)


def next_round_at(
    priority: Priority, now: Instant, *, step: int, people: int, pause_seconds: float
) -> Instant:
    """When the round after that at place `step` of so many people is due; see `round_of`.

    The pauses between rounds to everybody double, up to an hour (high) or four (medium).
    """
    if priority is Priority.LOW:
        return now + 24 * HOUR
    pause = round(pause_seconds * SECOND)
    if step < people:
        return now + pause
    longest = HOUR if priority is Priority.HIGH else 4 * HOUR
    return now + min(pause << min(step - people + 1, 10), max(longest, pause))


def pause_seconds(
    next_after_seconds: float, respond_seconds: float | None, *, storm_watch: bool
) -> float:
    """How long one person has to take an alarm before the next is texted, in seconds.

    At most half of the time in which somebody must act, so that the next still has as long as the
    first had; half of that again on storm watch; never under `SHORTEST_PAUSE_SECONDS` unless the
    config asks for less. `respond_seconds` None: it has no fixed time.
    """
    pause = next_after_seconds
    if respond_seconds is not None:
        pause = min(pause, respond_seconds / 2)
    if storm_watch:
        pause /= 2
    return max(pause, min(next_after_seconds, SHORTEST_PAUSE_SECONDS))
