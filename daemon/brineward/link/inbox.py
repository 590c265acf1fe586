"""The inbox between the network thread and the worker: in order, bounded, losing nothing."""

import threading
from collections import deque
from collections.abc import Sequence
from typing import Final

from brineward.link.messages import Message
from brineward.readings.entries import LinkChanged

Arrival = Message | LinkChanged

TAKEN_BYTES: Final = 262_144
"""How many bytes of payload are taken at once, or one message: what they unfold to is bounded too,
while 500 readings of the usual size are a fifth of it."""


class Inbox:
    """Holds what arrived until the worker takes it.

    The bound is for the network thread to keep: it stops reading while `has_room` is false, so
    that the broker holds the rest. Nothing is ever dropped here.
    """

    def __init__(self, *, most_messages: int, most_bytes: int) -> None:
        self._most_messages = most_messages
        self._most_bytes = most_bytes
        self._held: deque[Arrival] = deque()
        self._bytes = 0
        self._failure: BaseException | None = None
        self._arrived = threading.Condition()

    @property
    def has_room(self) -> bool:
        """May more be read from the broker?"""
        return len(self._held) < self._most_messages and self._bytes < self._most_bytes

    def __len__(self) -> int:
        """How many wait to be taken."""
        return len(self._held)

    def put(self, arrivals: Sequence[Arrival]) -> None:
        """Append in order, and wake the worker."""
        with self._arrived:
            self._held.extend(arrivals)
            self._bytes += _weight(arrivals)
            self._arrived.notify()

    def fail(self, failure: BaseException) -> None:
        """Say that nothing will come any more, and why; what is held can still be taken."""
        with self._arrived:
            self._failure = failure
            self._arrived.notify_all()

    def take(
        self, max_items: int, timeout_seconds: float
    ) -> tuple[list[Arrival], BaseException | None]:
        """Up to this many of the oldest, waiting for the first; the failure once all are taken."""
        with self._arrived:
            if not self._held and self._failure is None:
                self._arrived.wait(timeout_seconds)
            taken: list[Arrival] = []
            size = 0
            while self._held and len(taken) < max_items and size < TAKEN_BYTES:
                taken.append(self._held.popleft())
                size += _weight(taken[-1:])
            self._bytes -= size
            return taken, None if taken else self._failure


def _weight(arrivals: Sequence[Arrival]) -> int:
    return sum(len(arrival.payload) for arrival in arrivals if isinstance(arrival, Message))
