"""What goes with the duty when it is handed over: the calls that wait, and who has which alarms."""

from collections.abc import Sequence

from brineward.book.booked_alarm import BookedAlarm
from brineward.book.life_table import Letter
from brineward.plant.plan import DepotPlan
from brineward.readings.instants import Instant
from brineward.telling.calls import Call
from brineward.telling.handover_words import both_texts
from brineward.telling.on_duty import Handover

Calls = Sequence[tuple[BookedAlarm, Call]]
"""Each alarm of a depot, with what people were told about it."""


def waiting(calls: Calls) -> list[tuple[BookedAlarm, Call]]:
    """What nobody has taken, and somebody is still to be told about."""
    open_ones = [(b, c) for b, c in calls if c.due is not None and c.told]
    return [(b, c) for b, c in open_ones if b.life.letter in (Letter.B, Letter.E)]


def both_told(
    plan: DepotPlan, handover: Handover, calls: Calls, now: Instant, until: Instant | None
) -> list[tuple[str, str]]:
    """To each of both, with the text; `until` is when the next handover is, None for never."""
    active = [plan.code(booked.life.number) for booked, _ in waiting(calls)]
    had: dict[str, list[str]] = {}
    for booked, _ in calls:
        if booked.life.taken_by and booked.life.letter in (Letter.C, Letter.F):
            had.setdefault(booked.life.taken_by, []).append(plan.code(booked.life.number))
    return both_texts(plan, handover, now, until, active=active, had=had)
