"""What a channel needs to know of a text, and what a sender is."""

from dataclasses import dataclass
from typing import Protocol

from brineward.readings.outputs import Priority
from brineward.texts.attempts import Outcome


@dataclass(frozen=True, slots=True, kw_only=True)
class Letter:
    """One text with its addressee, ready for a channel."""

    id: str
    """The same on every repeat."""
    depot: str
    number: int
    kind: str
    priority: Priority
    name: str
    address: str
    body: str
    attempt: int


class Sender(Protocol):
    """A channel in use. Each is called from one thread, one letter at a time."""

    def send(self, letter: Letter) -> Outcome:
        """Try once to hand over the letter, within a bounded time."""
        ...
