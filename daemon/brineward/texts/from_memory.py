"""Texts that fall due while the disk takes no record: sent from memory, once, and remembered.

A text is recorded before it is sent. While the disk refuses, that would hold back what cannot wait,
so high and medium priorities go out without it, whether they could not be kept at all, or were kept
before and no attempt can be recorded. Once the record is kept after all, it is settled with what
came of this, and nothing is sent twice. Only a stop in the middle of it makes one come again; its
key is then the same, unless it fell due at another time.
"""

import threading
from collections.abc import Callable, Iterable, Mapping
from concurrent.futures import Future
from dataclasses import dataclass
from typing import Literal, Protocol

from brineward.clock import Clock
from brineward.config.settings import Channel, Person
from brineward.readings.outputs import Priority, TextDue
from brineward.texts.attempts import (
    Accepted,
    Failed,
    NeverAccepted,
    OutboxText,
    Outcome,
    backoff_seconds,
)
from brineward.texts.senders import OutgoingText


class SendingLane(Protocol):
    """A channel in use."""

    channel: Channel

    def submit(self, sent: OutgoingText) -> Future[Outcome]:
        """Have the channel's thread try it."""
        ...


@dataclass(frozen=True, slots=True, kw_only=True)
class _Try:
    attempts: int
    way: int
    closed: frozenset[int]
    """The ways by which it will never go, as known before this one."""
    again_at: float
    """On the clock that never steps, should it fail."""
    outcome: Future[Outcome]

    def landed(self) -> Outcome | None:
        if not self.outcome.done():
            return None
        if self.outcome.exception() is not None:
            return Failed(why="the channel failed unexpectedly")
        return self.outcome.result()


class FromMemory:
    """For any thread. `key_of` gives the key that a text's record will have."""

    def __init__(
        self,
        lanes: Mapping[str, SendingLane],
        people: Mapping[str, Person],
        clock: Clock,
        *,
        key_of: Callable[[TextDue], str],
        wake: Callable[[], None],
    ) -> None:
        self._lanes = lanes
        self._people = people
        self._clock = clock
        self._key_of = key_of
        self._wake = wake
        self._lock = threading.Lock()
        self._tries: dict[str, _Try] = {}

    def send(self, texts: Iterable[TextDue]) -> None:
        """Send those that can't wait and were not sent yet; what failed is tried again later.

        Called again and again while the disk refuses.
        """
        self._send((text, self._key_of(text)) for text in texts)

    def send_kept(self, texts: Iterable[OutboxText]) -> None:
        """As `send`, of those that are kept and of which no attempt can be recorded now."""
        self._send((text, text.key) for text in texts)

    def _send(self, texts: Iterable[tuple[TextDue | OutboxText, str]]) -> None:
        now = self._clock.monotonic_seconds()
        with self._lock:
            for text, key in texts:
                if text.priority is not Priority.LOW:
                    self._try(text, key, now)

    def sent(self, text_id: str) -> Accepted | Literal["under way"] | None:
        """What became of a text; None where it was not sent from here, or that failed."""
        with self._lock:
            tried = self._tries.get(text_id)
        if tried is None:
            return None
        landed = tried.landed()
        if landed is None:
            return "under way"
        return landed if isinstance(landed, Accepted) else None

    def forget(self, text_id: str) -> None:
        """Its record is kept and settled."""
        with self._lock:
            self._tries.pop(text_id, None)

    def _try(self, text: TextDue | OutboxText, key: str, now: float) -> None:
        """Try it by its next way, if it is time for that and there is one."""
        person = self._people.get(text.person)
        if person is None:
            return
        before = self._tries.get(text.id)
        attempts, way, closed = 1, 0, frozenset[int]()
        if before is not None:
            attempts, closed = before.attempts + 1, before.closed
            landed = before.landed()
            if isinstance(landed, NeverAccepted):
                closed |= {before.way}
            elif not isinstance(landed, Failed) or now < before.again_at:
                return
            count = len(person.channels)
            ways = [one % count for one in range(before.way + 1, before.way + 1 + count)]
            left = [one for one in ways if one not in closed]
            if not left:
                return  # its record will say so, and it is given up there
            way = left[0]
        lane = self._lanes.get(person.channels[way])
        if lane is None:
            return
        sent = OutgoingText.to(person, text, key=key, attempt=attempts, channel=lane.channel)
        outcome = lane.submit(sent)
        again_at = now + backoff_seconds(attempts, text.priority)
        self._tries[text.id] = _Try(
            attempts=attempts, way=way, closed=closed, again_at=again_at, outcome=outcome
        )
        outcome.add_done_callback(lambda _: self._wake())
