"""What the link's tests are built with."""

from collections.abc import Iterable, Iterator
from contextlib import contextmanager
from typing import Any

from brineward.clock import Clock, MachineClock
from brineward.config.settings import LinkSettings
from brineward.link import Link, Message
from brineward.readings.entries import LinkChanged
from brokers import until

TOPIC = "brine/tern-hollow/main-level"


def settings_for(port: int, **more: Any) -> LinkSettings:
    """Settings that reach a broker of the tests."""
    return LinkSettings(**{"port": port, **more})


class Worker:
    """A worker that takes, and acknowledges only when it is told to."""

    def __init__(self, link: Link) -> None:
        self.link = link
        self.messages: list[Message] = []
        self.changes: list[LinkChanged] = []

    def take(self, timeout_seconds: float = 0.2, most: int = 500) -> list[Message]:
        """Take once; returns the messages of it."""
        some = self.link.take(most, timeout_seconds)
        messages = [item for item in some if isinstance(item, Message)]
        self.messages += messages
        self.changes += [item for item in some if isinstance(item, LinkChanged)]
        return messages

    def take_until(self, count: int, *, acknowledge: bool = False, seconds: float = 20.0) -> None:
        """Take until so many messages have come in all."""

        def enough() -> bool:
            messages = self.take()
            if acknowledge:
                self.link.acknowledge(messages)
            return len(self.messages) >= count

        until(enough, seconds, f"{count} messages; {len(self.messages)} came")

    def take_until_change(self, count: int, seconds: float = 20.0) -> LinkChanged:
        """Take until so many changes of the link have come in all; returns the last of them."""

        def enough() -> bool:
            self.take()
            return len(self.changes) >= count

        until(enough, seconds, f"{count} changes; {self.changes} came")
        return self.changes[count - 1]

    @property
    def subscribed(self) -> bool:
        """Has the broker answered for every topic on this connection?"""
        return self.link._connected and self.link._unanswered == 0

    @property
    def payloads(self) -> list[bytes]:
        """The payloads of all messages taken."""
        return [message.payload for message in self.messages]


@contextmanager
def linked(
    settings: LinkSettings,
    topics: Iterable[str] = (TOPIC,),
    *,
    clock: Clock | None = None,
    **more: Any,
) -> Iterator[Worker]:
    """A started link and its worker; stopped in good order at the end."""
    link = Link(
        settings,
        topics,
        clock or MachineClock(),
        **{"first_wait_seconds": 0.05, "longest_wait_seconds": 0.2, **more},
    )
    link.start()
    try:
        yield Worker(link)
    finally:
        link.stop()


def registered(settings: LinkSettings, topics: Iterable[str] = (TOPIC,)) -> None:
    """Connect once and leave, so that the broker holds a session for us."""
    with linked(settings, topics) as worker:
        worker.take_until_change(1)
        until(lambda: worker.subscribed, what="subscribed")
