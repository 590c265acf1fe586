"""Whether an alarm that nobody has taken is texted now or may wait; and whether its end is."""

from datetime import tzinfo
from typing import Final

from brineward.book.booked_alarm import BookedAlarm
from brineward.plant.plan import DepotPlan
from brineward.readings.instants import DAY, HOUR, MINUTE, SECOND, Instant
from brineward.readings.outputs import Priority
from brineward.telling.calls import Call
from brineward.telling.pacing import ROUTINE_HOUR, next_at, not_before

WORK_ENDS_HOUR: Final = 16
"""What a day's work may settle is texted at this hour (common practice, no source)."""
LOOKS_AGAIN: Final = 30 * MINUTE
"""How often what may wait is checked, since it may have become urgent."""
UNDECIDED: Final = MINUTE
"""How long an alarm waits on before its first text, at most, while it can't be judged."""
LOOKS_SOON: Final = 10 * SECOND
"""How often it is checked meanwhile."""


def told_at(plan: DepotPlan, booked: BookedAlarm, call: Call, now: Instant) -> Instant:
    """When it may be texted, or is to be checked again; `now` or earlier: at once."""
    life, record = booked.life, booked.configured.record
    in_line = plan.duty.daily_minutes is not None and in_daily_line(booked, now)
    if in_line and record.routine:
        return now + DAY  # in case the line is given up
    routine_since = life.since if record.routine else None
    at = not_before(booked.priority, plan.zone, now, routine_since=routine_since)
    if call.told:
        return at
    after = round(_text_after_seconds(booked) * SECOND)
    at = max(at, life.since + after)
    if after and life.judged is False and life.wait is not None:
        at = max(at, life.wait + SECOND)  # its condition has gone: it is about to clear
    if after and life.judged is None:  # it may have gone: a moment later that will be known
        at = max(at, min(now + LOOKS_SOON, life.since + after + min(after, UNDECIDED)))
    waits_to = now + DAY if in_line else _waits_to(booked, plan.zone, now)
    return at if waits_to is None or waits_to <= at else min(waits_to, max(at, now + LOOKS_AGAIN))


def _text_after_seconds(booked: BookedAlarm) -> float:
    """How long it must be active before anybody is texted."""
    configured, life = booked.configured.settings.text_after_seconds, booked.life
    if configured is not None:
        return configured
    earlier = [at for at in life.chatter.raisings if at < life.since]
    if life.finding is None or (earlier and life.since - earlier[-1] < HOUR):
        return 0.0
    return life.finding.text_after_seconds


def _waits_to(booked: BookedAlarm, zone: tzinfo, now: Instant) -> Instant | None:
    """When a finding that may wait is texted; None if it may not wait that long.

    A low one waits until a morning's or a day's work may have settled it, another until people
    are awake.
    """
    life = booked.life
    if not _may_wait(booked, now):
        return None
    at = now
    if booked.priority is Priority.LOW:
        settled = min(next_at(hour, zone, life.since) for hour in (ROUTINE_HOUR, WORK_ENDS_HOUR))
        at = max(now, settled)
    at = not_before(Priority.LOW, zone, at)
    return at if life.finding and at <= (life.finding.waits_until or 0) else None


def _may_wait(booked: BookedAlarm, now: Instant) -> bool:
    finding = booked.life.finding
    until = None if finding is None else finding.waits_until
    return until is not None and until >= now and booked.priority is not Priority.HIGH


def in_daily_line(booked: BookedAlarm, now: Instant) -> bool:
    """Does it ask for what can wait, and so has no text of its own where a daily line is sent?"""
    waits = booked.configured.record.routine or _may_wait(booked, now)
    return waits and booked.priority is Priority.LOW


def clears_unsaid(booked: BookedAlarm) -> bool:
    """Is nobody texted that it has cleared?"""
    finding, life = booked.life.finding, booked.life
    if booked.configured.record.clears_unsaid or life.out_of_service is not None:
        return True
    return booked.priority is Priority.LOW or (finding is not None and finding.clears_unsaid)
