"""What a channel needs to know of a text, and what a sender is."""

from dataclasses import dataclass
from typing import Protocol

from brineward.readings.outputs import Notice, Priority
from brineward.texts.attempts import Outcome


@dataclass(frozen=True, slots=True, kw_only=True)
class OutgoingText:
    """One text on its way to one person; the channel puts its notice into words."""

    key: str
    """What the gateway knows it by: no other text anywhere has it, every repeat has it again."""
    depot: str
    number: int
    kind: str
    priority: Priority
    name: str
    """What the person is called."""
    address: str
    notice: Notice
    attempt: int


class Sender(Protocol):
    """A channel in use. Each is called from one thread, one text at a time."""

    def send(self, text: OutgoingText) -> Outcome:
        """Try once to hand over the text, within a bounded time."""
        ...
