"""Who is told next of an alarm that nobody has taken."""

from collections.abc import Container
from typing import NamedTuple

from brineward.plant.plan import Duty
from brineward.readings.outputs import Priority


class Round(NamedTuple):
    """Whom to text, and where in the order of being on call that is, from 0."""

    people: tuple[str, ...]
    place: int
    """Past the last one: it is everybody's turn, for so manyth time."""


def round_of(
    duty: Duty, priority: Priority, place: int, *, out_of_reach: Container[str] = ()
) -> Round:
    """The round whose turn it is from this place on.

    First the first on call, then each next one, then everybody again and again; who can't be
    reached is passed over. Low priorities stay with the first who can be reached.
    """
    people = tuple(p for p in duty.on_call if p not in out_of_reach)
    if priority is Priority.LOW:
        return Round(people[:1], place)
    for its, person in enumerate(duty.on_call[place:], place):
        if person not in out_of_reach:
            return Round((person,), its)
    return Round(people, max(place, len(duty.on_call)))
