"""What a channel needs to know of a text, and what a sender is."""

from dataclasses import dataclass
from typing import Protocol, Self

from brineward.config.settings import Channel, Person
from brineward.readings.outputs import Notice, Priority
from brineward.texts.attempts import Outcome


class ToBeSent(Protocol):
    """A text as it fell due, or as the outbox keeps it."""

    @property
    def depot(self) -> str: ...
    @property
    def number(self) -> int: ...
    @property
    def kind(self) -> str: ...
    @property
    def priority(self) -> Priority: ...
    @property
    def notice(self) -> Notice: ...


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

    @classmethod
    def to(
        cls, person: Person, text: ToBeSent, *, key: str, attempt: int, channel: Channel
    ) -> Self:
        """A text on its way to its person by this channel; the attempts count from 1."""
        return cls(
            key=key,
            depot=text.depot,
            number=text.number,
            kind=text.kind,
            priority=text.priority,
            name=person.name,
            address=person.address_by(channel),
            notice=text.notice,
            attempt=attempt,
        )


class Sender(Protocol):
    """A channel in use. Each is called from one thread, one text at a time."""

    def send(self, text: OutgoingText) -> Outcome:
        """Try once to hand over the text, within a bounded time."""
        ...
