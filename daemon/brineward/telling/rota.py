"""Who is texted next about an alarm that nobody has taken."""

from collections.abc import Container, Sequence
from typing import NamedTuple

from brineward.plant.plan import DepotPlan
from brineward.readings.instants import Instant
from brineward.readings.outputs import Priority


class Round(NamedTuple):
    """Whom to text, and where in the order of being on call that is, from 0."""

    people: tuple[str, ...]
    place: int
    """Past the last one: how many times it has been everybody's turn."""


def round_of(
    order: Sequence[str], priority: Priority, place: int, *, out_of_reach: Container[str] = ()
) -> Round:
    """The round whose turn it is from this place on.

    `order` is who is called, the first one first. First the first of them, then each next one,
    then everybody again and again; who can't be reached is passed over. Low priorities stay with
    the first who can be reached.
    """
    people = tuple(p for p in order if p not in out_of_reach)
    if priority is Priority.LOW:
        return Round(people[:1], place)
    for its, person in enumerate(order[place:], place):
        if person not in out_of_reach:
            return Round((person,), its)
    return Round(people, max(place, len(order)))


def asleep(
    plan: DepotPlan, priority: Priority, order: Sequence[str], never: set[str], now: Instant
) -> set[str]:
    """Whose quiet hours it is now; nobody if it is high, or if nobody else could be texted.

    `never` are those who can't be reached anyway.
    """
    quiet = plan.duty.quiet
    if priority is Priority.HIGH or not quiet:
        return set()
    found = {p for p, hours in quiet.items() if p not in never and hours.hold(now, plan.zone)}
    return found if set(order) - never - found else set()
