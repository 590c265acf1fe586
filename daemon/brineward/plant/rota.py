"""Who is on duty when: turns by the week or the day, swaps, days of their own, a calendar.

All of it goes by the depot's own clock. A handover is at one time of day; on a day when that time
does not exist it is as much later, and where it comes twice it is the first.
"""

from collections.abc import Iterator, Sequence
from dataclasses import dataclass
from datetime import date, datetime, time, timedelta, tzinfo
from typing import Literal

from brineward.readings.entries import Shift
from brineward.readings.instants import SECOND, Instant, local_from_instant

_DAY = timedelta(days=1)
_LOOK_AHEAD_DAYS = 400
"""Where nobody else is on duty within so long, it is one person's for good."""


@dataclass(frozen=True, slots=True, kw_only=True)
class Swap:
    """Somebody is on duty from the handover of one day until that of another."""

    begins: date
    ends: date
    person: str

    def holds(self, day: date) -> bool:
        """Does it hold from this day's handover on?"""
        return self.begins <= day < self.ends


@dataclass(frozen=True, slots=True, kw_only=True)
class OwnDay:
    """A day that is somebody's own, from its handover to the next: of each year, or of one."""

    month: int
    day: int
    person: str
    year: int | None = None

    def holds(self, day: date) -> bool:
        """Is it this day?"""
        same = (day.month, day.day) == (self.month, self.day)
        return same and self.year in (None, day.year)


@dataclass(frozen=True, slots=True, kw_only=True)
class Rota:
    """The turns of being on duty, as the config has them."""

    people: tuple[str, ...] = ()
    """In turn; empty where a calendar alone says who is on duty."""
    every: Literal["week", "day"] = "week"
    begins: date = date(2024, 1, 1)
    """On this day's handover the first one's turn begins; it is counted back from there as well."""
    handover_minutes: int = 7 * 60
    """When duty goes from one to the next: minutes after midnight of the depot's clock."""
    backups: tuple[str, ...] = ()
    """Who is called after who is on duty, in order."""
    swaps: tuple[Swap, ...] = ()
    own_days: tuple[OwnDay, ...] = ()
    calendar: bool = False
    """A calendar from outside says it too; it holds over the turns, and swaps hold over it."""

    @property
    def everybody(self) -> tuple[str, ...]:
        """All who are named in it, each once, the turns first."""
        more = (*(one.person for one in self.swaps), *(one.person for one in self.own_days))
        return tuple(dict.fromkeys((*self.people, *self.backups, *more)))

    def handover(self, day: date, zone: tzinfo) -> Instant:
        """When duty is handed over on this day."""
        at = time(self.handover_minutes // 60, self.handover_minutes % 60)
        return round(datetime.combine(day, at, tzinfo=zone).timestamp() * SECOND)

    def day_of(self, now: Instant, zone: tzinfo) -> date:
        """The day whose handover was the last by `now`."""
        day = local_from_instant(now, zone).date() + _DAY
        while self.handover(day, zone) > now:
            day -= _DAY
        return day

    def on_duty(self, now: Instant, zone: tzinfo, calendar: Sequence[Shift] = ()) -> str:
        """Who is on duty; empty where nobody is: there are no turns, and the calendar has none.

        Swaps hold first, then days of somebody's own, then the calendar, then the turns. Of shifts
        that overlap the one that began last holds.
        """
        day = self.day_of(now, zone)
        swapped = [swap.person for swap in self.swaps if swap.holds(day)]
        own = [one.person for one in self.own_days if one.holds(day)]
        if swapped or own:
            return (swapped or own)[0]
        held = [shift for shift in calendar if shift.begins <= now < shift.ends]
        if held:
            return max(held, key=lambda shift: (shift.begins, shift.person)).person
        if not self.people:
            return ""
        passed = (day - self.begins).days
        turn = passed // 7 if self.every == "week" else passed
        return self.people[turn % len(self.people)]

    def next_handover(
        self, now: Instant, zone: tzinfo, calendar: Sequence[Shift] = ()
    ) -> Instant | None:
        """When another is on duty than at `now`; None where that is for good."""
        who = self.on_duty(now, zone, calendar)
        for at in self._changes(now, zone, calendar):
            if self.on_duty(at, zone, calendar) != who:
                return at
        return None

    def _changes(self, now: Instant, zone: tzinfo, calendar: Sequence[Shift]) -> Iterator[Instant]:
        """When duty may change after `now`, in order."""
        edges = {edge for shift in calendar for edge in (shift.begins, shift.ends) if edge > now}
        day, waiting = self.day_of(now, zone), sorted(edges)
        for ahead in range(1, _LOOK_AHEAD_DAYS + 1):
            at = self.handover(day + ahead * _DAY, zone)
            while waiting and waiting[0] <= at:
                yield waiting.pop(0)
            yield at
        yield from waiting


class Turn:
    """Who is called at one moment, in order."""

    __slots__ = ("backups", "on_duty", "order")

    def __init__(self, on_duty: str, backups: tuple[str, ...], on_call: tuple[str, ...]) -> None:
        self.on_duty = on_duty
        self.backups = backups
        self.order = tuple(dict.fromkeys((*([on_duty] if on_duty else []), *backups, *on_call)))


def turn_at(
    rota: Rota | None,
    on_call: tuple[str, ...],
    now: Instant,
    zone: tzinfo,
    calendar: Sequence[Shift] = (),
) -> Turn:
    """Who is on duty at `now`, then the backups, then everybody else on call, each once.

    Without a rota the first on call is on duty for good, and who comes after is a backup. Whom the
    calendar names and the depot doesn't know is passed over.
    """
    if rota is None:
        return Turn(on_call[0] if on_call else "", on_call[1:], on_call)
    who = rota.on_duty(now, zone, [one for one in calendar if one.person in on_call])
    return Turn(who, tuple(one for one in rota.backups if one != who), on_call)
