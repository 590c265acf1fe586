"""Who is told next of an alarm that nobody has taken."""

from collections.abc import Container

from brineward.plant.plan import Duty
from brineward.readings.outputs import Priority


def people_of_round(
    duty: Duty, priority: Priority, step: int, *, out_of_reach: Container[str] = ()
) -> tuple[str, ...]:
    """Whom to text in this round, from 0.

    First the first on call, then each next one, then everybody again and again. Low priorities
    stay with the first who can be reached.
    """
    people = tuple(p for p in duty.on_call if p not in out_of_reach)
    if priority is Priority.LOW:
        return people[:1]
    return people[step : step + 1] or people
