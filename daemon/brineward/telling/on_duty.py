"""Who is on duty at a depot now, and when that changes."""

from collections.abc import Sequence
from typing import Any, NamedTuple

from brineward.plant.plan import DepotPlan
from brineward.plant.rota import turn_at
from brineward.readings.entries import Shift
from brineward.readings.instants import Instant


class Handover(NamedTuple):
    """Duty went from one person to another; either is empty where there is nobody."""

    old: str
    new: str


class OnDuty:
    """Follows the rota of one depot; without one it is always the same person."""

    def __init__(self, plan: DepotPlan) -> None:
        self._duty, self._zone = plan.duty, plan.zone
        self._calendar: tuple[Shift, ...] = ()
        self._first: str | None = None
        """Who was called first at the last check; None before that."""
        self.before: str | None = None
        """Who was on duty before a handover that nobody has been told about yet."""
        self.due: Instant | None = None
        """When the next handover is."""

    @property
    def unlooked(self) -> bool:
        """Is there a rota that was never checked?"""
        return self._duty.rota is not None and self._first is None

    def order(self, now: Instant) -> tuple[str, ...]:
        """Who is called, the first one first, at `now`."""
        duty = self._duty
        if duty.rota is None:
            return duty.on_call
        return turn_at(duty.rota, duty.on_call, now, self._zone, self._calendar).order

    def look(self, now: Instant) -> None:
        """Note who is on duty, and when the next is."""
        rota, order = self._duty.rota, self.order(now)
        if rota is None:
            return
        old, self._first = self._first, order[0] if order else ""
        if old is not None and old != self._first and self.before is None:
            self.before = old
        known = [one for one in self._calendar if one.person in self._duty.on_call]
        self.due = rota.next_handover(now, self._zone, known)

    def read(self, shifts: Sequence[Shift], now: Instant) -> None:
        """The calendar says this now."""
        self._calendar = tuple(shifts)
        self.look(now)

    def resume(self, now: Instant) -> None:
        """The service was down until now, or has another config: several handovers become one."""
        if self._first is None or self._duty.rota is None:
            return
        order = self.order(now)
        if order[:1] != (self._first,):
            self.due = now
        elif self.due is None or self.due < now:
            self.look(now)

    def say(self) -> Handover | None:
        """The handover that is to be told, once; None where there is none."""
        old, self.before = self.before, None
        if old is None or self._first is None or old == self._first:
            return None
        return Handover(old, self._first)

    def shift(self, by: Instant) -> None:
        """The clock was set: shift by `by` milliseconds, and look again at once."""
        if self.due is not None:
            self.due = max(0, min(self.due, self.due + by))

    # -- plain data

    def snapshot(self) -> list[Any]:
        """As plain data."""
        shifts = [[one.begins, one.ends, one.person] for one in self._calendar]
        return [self._first, self.before, self.due, shifts]

    def restore(self, data: list[Any] | None) -> None:
        """Become what `snapshot` wrote; None where it was written before there were rotas."""
        if data is None:
            return
        self._first, self.before, self.due, shifts = data
        self._calendar = tuple(Shift(begins=b, ends=e, person=p) for b, e, p in shifts)
