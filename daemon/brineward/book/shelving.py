"""How long an alarm may be shelved, and when a take comes back."""

from typing import Final

from brineward.alarms.condition import Finding
from brineward.alarms.record import AlarmRecord
from brineward.plant.plan import AlarmSettings
from brineward.readings.instants import HOUR, MINUTE, SECOND, Instant
from brineward.readings.outputs import Priority

HIGH_AT_MOST: Final = HOUR
"""An alarm that can do harm within minutes is shelved for a short time only (common practice, no
source)."""

_RESPONSES: Final = 4
_SOONEST: Final = {Priority.HIGH: 20 * MINUTE, Priority.MEDIUM: HOUR, Priority.LOW: HOUR}
_SOONEST_BEFORE_HARM: Final = 10 * MINUTE
"""Whoever took it may be at the panel by then; sooner is no help."""
_BEFORE_HARM: Final = (2, 3)
"""So much of the time to its harm may pass: what is left is for somebody else to get there."""
_OF_ITSELF: Final = {
    Priority.HIGH: 2 * HOUR,
    Priority.MEDIUM: 24 * HOUR,
    Priority.LOW: 72 * HOUR,
}
"""Where an alarm has no fixed time to respond in. All of these: common practice, no source."""


def longest_shelving(
    record: AlarmRecord, settings: AlarmSettings | None, priority: Priority
) -> int:
    """How long an alarm may be shelved at once, in milliseconds; 0 where it may not be."""
    seconds = record.shelve_at_most_seconds
    if settings is not None and settings.shelve_at_most_seconds is not None:
        seconds = settings.shelve_at_most_seconds
    most = round(seconds * SECOND) // MINUTE * MINUTE
    if priority is not Priority.HIGH:
        return most
    return min(most, HIGH_AT_MOST, comes_back_after(record, priority))


def comes_back_after(record: AlarmRecord, priority: Priority) -> Instant:
    """How long after it was taken an alarm that is not cured is announced again (ReAlarmTime).

    Several times the time to respond; if it is not high, no sooner than a drive and a repair take.
    """
    if record.respond_seconds is None:
        return _OF_ITSELF[priority]
    return max(_SOONEST[priority], _RESPONSES * round(record.respond_seconds * SECOND))


def comes_back_at(
    record: AlarmRecord,
    priority: Priority,
    finding: Finding | None,
    now: Instant,
    *,
    taken_before: bool = False,
) -> Instant:
    """When an alarm that is taken now is announced again: once while there is time before its harm.

    Who has taken it again after that knows; the harm itself is announced where it is seen to come.
    """
    usual = now + comes_back_after(record, priority)
    harm = None if finding is None else finding.harm_soon_at
    if harm is None or harm <= now or taken_before:
        return usual
    part, whole = _BEFORE_HARM
    return min(usual, now + max((harm - now) * part // whole, _SOONEST_BEFORE_HARM))
