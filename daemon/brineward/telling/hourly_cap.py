"""How many texts about alarms a person gets; what exceeds that is held, and never dropped.

Alarms that come together are texted together: one or two have texts of their own, with what to do,
and those that follow within a minute are one text once it has passed.
"""

from collections.abc import Container
from typing import Any

from brineward.readings.instants import HOUR, MINUTE, Instant, earliest
from brineward.readings.outputs import Priority


class HourlyCap:
    """The most texts about alarms to one person in any hour and in any minute, not counting those
    of high priority.

    Both are at least 1; `unlimited` are people whose texts ring no phone, such as a siren's.
    """

    def __init__(self, an_hour: int, a_minute: int, unlimited: Container[str]) -> None:
        self._limits = ((HOUR, an_hour), (MINUTE, a_minute))
        self._unlimited = unlimited
        self._sent: dict[str, list[Instant]] = {}
        """When each person was texted in the last hour."""
        self._held: dict[str, dict[str, int]] = {}
        """What is held, by person: each alarm by its key, and the number of its occurrence."""
        self._not_before: dict[str, Instant] = {}
        """When somebody who sleeps now may be texted."""
        self.behind = False
        """Must the present be reached before anything held is texted?"""

    @property
    def due(self) -> Instant | None:
        """When the next person has room for what is held; None where nothing waits for that."""
        if self.behind:
            return None
        return earliest(*(self._due_of(person) for person in self._held))

    def admits(self, person: str, priority: Priority, now: Instant) -> bool:
        """May this person be texted now? If so, it is counted."""
        if priority is Priority.HIGH or person in self._unlimited:
            return True
        sent = [at for at in self._sent.get(person, ()) if now - at < HOUR]
        for within, most in self._limits:
            if sum(now - at < within for at in sent) >= most:
                return False
        self._sent[person] = [*sent, now]
        return True

    def hold(self, person: str, key: str, number: int) -> None:
        """This person is to be texted about this occurrence later."""
        self._held.setdefault(person, {})[key] = number
        self._not_before.pop(person, None)  # what can wait till morning holds up nothing graver

    def forget(self, person: str, key: str) -> None:
        """This person has just been texted the state of this alarm."""
        held = self._held.get(person, {})
        held.pop(key, None)
        if not held:
            self._let_go(person)

    def ready(self, now: Instant) -> list[tuple[str, dict[str, int]]]:
        """Who has room for what is held, in the order of their names, and what it is."""
        able = [person for person in sorted(self._held) if self._due_of(person) <= now]
        return [(person, dict(self._held[person])) for person in able]

    def told(self, person: str) -> None:
        """Nothing is held of this person any more."""
        self._let_go(person)

    def put_off(self, person: str, until: Instant) -> None:
        """This person is not to be texted before then."""
        self._not_before[person] = until

    def no_sooner(self, time: Instant) -> None:
        """The service was down until then: what fell due meanwhile is texted now."""
        self._not_before = {p: max(time, self._not_before.get(p, 0)) for p in self._held}

    def _let_go(self, person: str) -> None:
        self._held.pop(person, None)
        self._not_before.pop(person, None)

    def _due_of(self, person: str) -> Instant:
        sent = sorted(self._sent.get(person, ()))
        room = [sent[-most] + within for within, most in self._limits if len(sent) >= most]
        return max(*room, self._not_before.get(person, 0), 0)

    def shift(self, by: Instant) -> None:
        """The clock was set: shift what is remembered by `by` milliseconds."""
        self._sent = {p: [max(0, at + by) for at in sent] for p, sent in self._sent.items()}
        self._not_before = {p: max(0, at + by) for p, at in self._not_before.items()}

    # -- plain data

    def snapshot(self) -> list[Any]:
        """As plain data."""
        held = {person: dict(each) for person, each in self._held.items()}
        return [dict(self._sent), held, dict(self._not_before), self.behind]

    def restore(self, data: list[Any] | None) -> None:
        """Become what `snapshot` wrote; None where it was written before there was a cap."""
        if data is not None:
            sent, held, not_before, self.behind = data
            self._sent, self._not_before = dict(sent), dict(not_before)
            self._held = {person: dict(each) for person, each in held.items()}
