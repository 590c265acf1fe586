"""The ways to one person: the next where one fails, or gives no receipt in time."""

import logging
from typing import Protocol

from brineward.config.settings import Person
from brineward.readings.instants import SECOND, Instant
from brineward.texts.attempts import Accepted, Again, Dead, Failed, NeverAccepted, OutboxText

_MOST_TEXTS = 10_000

_log = logging.getLogger(__name__)


class Recorder(Protocol):
    """What an outbox records of a text."""

    def record_accepted(self, text_id: str, at: Instant, receipt: str) -> None: ...
    def record_retry(self, text_id: str, at: Instant, next_at: Instant, why: str) -> None: ...
    def record_dead(self, text_id: str, at: Instant, why: str) -> None: ...
    def record_way(
        self, text_id: str, at: Instant, next_at: Instant, way: int, why: str
    ) -> None: ...
    def record_sent(
        self, text_id: str, at: Instant, until: Instant, known_as: str, receipt: str
    ) -> None: ...


class Ways:
    """Which ways are left for each open text.

    After a failure the next channel is tried at once; after the last one the first again, with the
    wait between attempts. A way by which the text will never go is passed over; where none is left
    the text is dead. That is learned again after a restart.
    """

    def __init__(self, outbox: Recorder) -> None:
        self._outbox = outbox
        self._closed: dict[str, dict[int, str]] = {}

    def taken(self, text: OutboxText, accepted: Accepted, now: Instant) -> None:
        """A channel has taken it."""
        if accepted.known_as:
            until = now + round(accepted.receipt_within_seconds * SECOND)
            self._outbox.record_sent(text.id, now, until, accepted.known_as, accepted.receipt)
            return
        self._closed.pop(text.id, None)
        self._outbox.record_accepted(text.id, now, accepted.receipt)

    def failed(
        self,
        text: OutboxText,
        person: Person,
        outcome: Failed | NeverAccepted,
        now: Instant,
        decision: Again | Dead | Accepted,
    ) -> None:
        """This way failed; `decision` is what would be right if it were the only one."""
        count = len(person.channels)
        way = text.way % count
        closed = self._closed.setdefault(text.id, {})
        if isinstance(outcome, NeverAccepted):
            closed[way] = outcome.why
        if len(self._closed) > _MOST_TEXTS:
            self._closed.pop(next(iter(self._closed)))
        left = [one % count for one in range(way + 1, way + 1 + count) if one % count not in closed]
        given_up = isinstance(outcome, Failed) and isinstance(decision, Dead)
        if not left or given_up:
            why = "; ".join(dict.fromkeys([*closed.values(), outcome.why]))
            if given_up and isinstance(decision, Dead):
                why = decision.why
            self._closed.pop(text.id, None)
            _log.warning("text %s: %s", text.id, why)
            self._outbox.record_dead(text.id, now, why)
        elif left[0] > way:
            self._outbox.record_way(text.id, now, now, left[0], outcome.why)
        else:
            at = decision.at if isinstance(decision, Again) else now + 5 * SECOND
            if left[0] == way:
                self._outbox.record_retry(text.id, now, at, outcome.why)
            else:
                self._outbox.record_way(text.id, now, at, left[0], outcome.why)
