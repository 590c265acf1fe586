"""`brineward alarms CONFIG --figures`: how the alarms have performed, from the journal."""

import json
import sys
from collections.abc import Iterator, Mapping, Sequence
from dataclasses import dataclass
from typing import Any, Final

from brineward.commands.span import NoTime, Span, span_of
from brineward.config.settings import Settings
from brineward.journal import DiskTrouble, Journal, JournalUnusable
from brineward.plant.plan import DepotPlan
from brineward.readings.instants import Instant, local_from_instant, rfc3339_from_instant
from brineward.readings.outputs import Priority
from brineward.records import Records
from brineward.records.alarm_figures import (
    ACCEPTABLE,
    MANAGEABLE,
    SLOT,
    Figures,
    Told,
    alarm_figures,
)
from brineward.records.readings import Readings

_ALL: Final = 1_000_000
_SHARES: Final = {Priority.HIGH: 5, Priority.MEDIUM: 15, Priority.LOW: 80}
"""Percent of what is raised, ISA-18.2-2016 clause 16."""
_SHORTEST_DAYS: Final = 30.0
"""The standard judges thirty days or more."""


def print_figures(
    settings: Settings, since: str, until: str | None, now: Instant, *, as_json: bool
) -> int:
    """Print each depot's figures; 0, 1 where nothing is on record of any depot, or 2 where the time
    or the journal can't be read."""
    try:
        with Journal.open(settings.journal.path, read_only=True) as journal:
            records = Records(journal.handle)
            found = {
                plan.id: _figures(records, plan, since, until, now)
                for plan in settings.depots.values()
            }
    except (NoTime, DiskTrouble, JournalUnusable) as why:
        print(why, file=sys.stderr)
        return 2
    if as_json:
        rows = [{"depot": depot} | _as_json(one) for depot, one in found.items()]
        print(json.dumps({"figures": rows}, indent=2))
    else:
        for depot, one in found.items():
            print("\n".join(_lines(settings.depots[depot], one)))
    return 0 if any(one.on_record for one in found.values()) else 1


@dataclass(frozen=True, slots=True)
class _Found:
    figures: Figures
    readings: bool
    """Whether the journal has any of the period; zeros without them are no calm."""
    cut: bool
    """The period that was asked for is longer than what the journal knows of it."""

    @property
    def on_record(self) -> bool:
        figures = self.figures
        return bool(self.readings or figures.raised or figures.standing or figures.told)


def _figures(
    records: Records, plan: DepotPlan, since: str, until: str | None, now: Instant
) -> _Found:
    asked = span_of(since, until, plan.zone, now)
    changes = records.alarms.history(plan.id, limit=_ALL)
    texts = records.texts.of_alarms(plan.id, asked.start, asked.end)
    readings = records.readings.any_within(plan.id, asked.start, asked.end)
    known = asked
    if readings:
        happened = [*(one.time for one in changes), *(at for _, at, _ in texts)]
        known = _known_of(asked, records.readings, plan.id, happened)
    missing = (asked.end - asked.start) - (known.end - known.start)
    return _Found(alarm_figures(changes, texts, *known), readings, cut=missing > SLOT)


def _known_of(asked: Span, readings: Readings, depot: str, happened: Sequence[Instant]) -> Span:
    """What the journal knows of a period that has readings: from the first of them, to the last of
    them or to the last that came of their silence."""
    first, last = readings.first(depot), readings.last(depot, asked.end)
    newest = max([at for at in (last, *happened) if at is not None and at < asked.end])
    start = asked.start if first is None else max(asked.start, first)
    return Span(start, min(asked.end, newest + 1))


# -- for a person


def _lines(plan: DepotPlan, one: _Found) -> Iterator[str]:
    found = one.figures
    begins, ends = (local_from_instant(at, plan.zone) for at in (found.start, found.end))
    period = f"{plan.name}, {found.days:.1f} days from {begins:%Y-%m-%d %H:%M}"
    if not one.on_record:
        yield f"{period}: there is nothing on record for this period"
        return
    yield f"{period} to {ends:%Y-%m-%d %H:%M}"
    if one.cut:
        yield "  (the journal has no more of the period asked for; averages are over these days)"
    if not one.readings:
        yield "  (there is no reading on record for this period)"
    if found.days < _SHORTEST_DAYS:
        yield f"  (fewer than {_SHORTEST_DAYS:g} days: too few for the standard to judge by)"
    yield f"  raised: {found.raised}, {found.raised_a_day:.2f} a day"
    for priority in Priority:
        count = found.by_priority[priority]
        share = f", {100 * count / found.raised:.0f} %" if found.raised else ""
        yield f"    {priority}: {count}{share} (the standard: about {_SHARES[priority]} %)"
    yield f"  active at the end: {found.standing}; for more than a day: {_names(found.stale)}"
    yield f"  chattering (3 times in a minute): {_counts(found.chattering)}"
    yield f"  fleeting (gone within 10 s): {_counts(found.fleeting)}"
    if found.most_frequent:
        together = 100 * found.share_of_most_frequent
        yield f"  raised most often, together {together:.0f} % of all:"
        yield from (f"    {count:>5}  {name}" for name, count in found.most_frequent)
    if not found.told:
        yield "  nobody was texted about an alarm"
    for told in found.told:
        yield from _told_lines(told, plan)


def _told_lines(told: Told, plan: DepotPlan) -> Iterator[str]:
    yield f"  {plan.name_of(told.person)}: {told.texts} text{'s' * (told.texts != 1)} of alarms"
    yield (
        f"    in ten minutes: {told.in_ten_minutes:.2g} on average (the standard: {ACCEPTABLE} is "
        f"acceptable, {MANAGEABLE} the most that is manageable at a screen)"
    )
    yield (
        f"    in any ten minutes: {told.most_in_ten_minutes} at most (the standard's limit is 10); "
        f"above that in {told.slots_above} of {told.slots:,} ten-minute periods (aim: under 1 %)"
    )
    yield f"    floods: {told.floods}"
    yield (
        f"    alarms in any twelve hours: {told.most_in_a_shift} at most (2 is what a person on "
        "call can bear, common practice)"
    )


def _names(names: Any) -> str:
    return ", ".join(names) or "none"


def _counts(counts: Mapping[str, int]) -> str:
    return _names(f"{name} {count} times" for name, count in counts.items())


# -- for a program


def _as_json(one: _Found) -> dict[str, Any]:
    found = one.figures
    return {
        "on_record": one.on_record,
        "readings": one.readings,
        "start": rfc3339_from_instant(found.start),
        "end": rfc3339_from_instant(found.end),
        "days": found.days,
        "raised": found.raised,
        "raised_a_day": found.raised_a_day,
        "by_priority": dict(found.by_priority),
        "most_frequent": [{"alarm": name, "raised": n} for name, n in found.most_frequent],
        "active_at_end": found.standing,
        "stale": list(found.stale),
        "chattering": dict(found.chattering),
        "fleeting": dict(found.fleeting),
        "people": [_told_as_json(told) for told in found.told],
    }


def _told_as_json(told: Told) -> dict[str, Any]:
    return {
        "person": told.person,
        "texts": told.texts,
        "average_in_ten_minutes": told.in_ten_minutes,
        "most_in_ten_minutes": told.most_in_ten_minutes,
        "stretches_above_ten": told.slots_above,
        "stretches": told.slots,
        "floods": told.floods,
        "most_alarms_in_twelve_hours": told.most_in_a_shift,
    }
