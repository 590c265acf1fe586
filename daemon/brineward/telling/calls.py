"""What people were told about one occurrence of an alarm."""

from dataclasses import dataclass, field
from typing import Any

from brineward.readings.instants import Instant


@dataclass(slots=True)
class Call:
    """Who was texted, in which round, and when the next is due if nobody takes it."""

    told: list[str] = field(default_factory=list)
    """Who has been texted, in order, each once."""
    step: int = 0
    """Whose turn is next: a place in the order of being on call, past its end everybody's."""
    sent: int = 0
    """How many texts went out; numbers each text."""
    due: Instant | None = None
    held: bool = False
    """Raised by old news; texted once the present is reached, if it is still active."""
    again: str = ""
    """Why it is announced again, for the next round; empty where that is nothing new."""

    latest: list[str] = field(default_factory=list)
    """Who was texted in the latest round."""

    within: int = 0
    """The occurrence whose text included this one, if that was the latest text; else 0."""

    def begin(self) -> None:
        """A new occurrence: nobody knows of it yet."""
        self.told, self.step, self.sent, self.due, self.held = [], 0, 0, None, False
        self.again, self.latest, self.within = "", [], 0

    def stop(self) -> None:
        """Nobody needs to be told any more."""
        self.due, self.held = None, False

    def no_sooner(self, time: Instant) -> None:
        """Put the next round off until then, if one is due before."""
        if self.due is not None and self.due < time:
            self.due = time

    def snapshot(self) -> list[Any]:
        """The call as plain data."""
        called = [self.told, self.step, self.sent, self.due, self.held]
        return [*called, self.again, self.latest, self.within]

    def restore(self, data: list[Any]) -> None:
        """Become what `snapshot` wrote."""
        self.told, self.step, self.sent, self.due, self.held = data[:5]
        self.again = data[5] if len(data) > 5 else ""
        self.latest = data[6] if len(data) > 6 else self.told[-1:]
        self.within = data[7] if len(data) > 7 else 0
