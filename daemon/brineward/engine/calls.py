"""Who is told of an alarm, and who next if nobody takes it. Pure: times in, people out."""

from typing import Any

from brineward.plant.plan import Duty
from brineward.readings.instants import HOUR, SECOND, Instant
from brineward.readings.outputs import Priority


class Call:
    """What has been told of one occurrence of an alarm, and when more is due."""

    __slots__ = ("due", "held", "sent", "step", "told")

    def __init__(self) -> None:
        self.told: list[str] = []
        """Who has been texted, in order, each once."""
        self.step = 0
        """How many rounds there were."""
        self.sent = 0
        """How many texts went out; numbers each text."""
        self.due: Instant | None = None
        """When the next round is due if nobody has taken it."""
        self.held = False
        """Raised by old news; told once the present is reached, if it still stands."""

    def begin(self) -> None:
        """A new occurrence: nobody knows of it yet."""
        self.told = []
        self.step = 0
        self.sent = 0
        self.due = None
        self.held = False

    def next_round(
        self, duty: Duty, priority: Priority, now: Instant, *, but: str = "", failed: str = ""
    ) -> tuple[str, ...]:
        """Whom to text now; sets when the round after is due.

        First the first on call, then each next one, then everybody again and again, the pauses
        doubling up to an hour (high) or four (medium). Low priorities stay with the first who is
        reached: `failed` has just not been. `but` is never texted.
        """
        people = tuple(p for p in duty.on_call if p != but)
        if not people:
            self.due = None
            return ()
        step, self.step = self.step, self.step + 1
        if priority is Priority.LOW:
            self.due = now + 24 * HOUR
            return tuple(p for p in people if p != failed)[:1]
        pause = round(duty.next_after_seconds * SECOND)
        if step < len(people):
            self.due = now + pause
            return (people[step],)
        longest = HOUR if priority is Priority.HIGH else 4 * HOUR
        self.due = now + min(pause * 2 ** min(step - len(people) + 1, 10), max(longest, pause))
        return people

    def no_sooner(self, time: Instant) -> None:
        """Put the next round off until then, if one is due before."""
        if self.due is not None and self.due < time:
            self.due = time

    def stop(self) -> None:
        """Nobody needs to be told any more."""
        self.due = None
        self.held = False

    def freeze(self) -> list[Any]:
        """The call as plain data."""
        return [self.told, self.step, self.sent, self.due, self.held]

    def thaw(self, data: list[Any]) -> None:
        """Become what `freeze` wrote."""
        self.told, self.step, self.sent, self.due, self.held = data
