"""What becomes of a text after an attempt: pure decisions, no clock and no network."""

from collections.abc import Callable, Sequence
from dataclasses import dataclass
from typing import Protocol

from brineward.followers.backoff import doubled_wait_seconds
from brineward.readings.instants import SECOND, Instant
from brineward.readings.outputs import Notice, Priority

FIRST_WAIT_SECONDS = 5.0
LONGEST_WAIT_SECONDS = {Priority.HIGH: 60.0, Priority.MEDIUM: 300.0, Priority.LOW: 300.0}
LONGEST_ASKED_SECONDS = 600.0
"""A gateway that asks for a longer pause than this is tried again after it all the same."""
FEWEST_ATTEMPTS = 3
"""A text is tried this often even if it was long overdue before the first attempt."""

_PRESSING = {Priority.HIGH: 0, Priority.MEDIUM: 1, Priority.LOW: 2}


class OutboxText(Protocol):
    """A text that awaits sending, as the journal keeps it."""

    @property
    def id(self) -> str: ...
    @property
    def key(self) -> str: ...
    @property
    def depot(self) -> str: ...
    @property
    def number(self) -> int: ...
    @property
    def person(self) -> str: ...
    @property
    def kind(self) -> str: ...
    @property
    def priority(self) -> Priority: ...
    @property
    def notice(self) -> Notice: ...
    @property
    def created(self) -> Instant: ...
    @property
    def attempts(self) -> int: ...
    @property
    def next_attempt(self) -> Instant: ...
    @property
    def way(self) -> int: ...
    @property
    def known_as(self) -> str: ...
    @property
    def why(self) -> str: ...


@dataclass(frozen=True, slots=True, kw_only=True)
class Accepted:
    """The channel has taken the text; whether it reached the phone is not known."""

    receipt: str = ""
    known_as: str = ""
    """What a receipt of its delivery will call it; empty where none will come."""
    receipt_within_seconds: float = 0.0


@dataclass(frozen=True, slots=True, kw_only=True)
class Failed:
    """The channel could not take it now, or nobody knows whether it did: send it again."""

    why: str
    asked_seconds: float | None = None
    """How long the gateway asked to wait."""
    channel_unusable: bool = False
    """It can't work before the operator puts something right, such as a secret that is missing."""


@dataclass(frozen=True, slots=True, kw_only=True)
class NeverAccepted:
    """The channel will never take this text as it is."""

    why: str


Outcome = Accepted | Failed | NeverAccepted


@dataclass(frozen=True, slots=True, kw_only=True)
class Again:
    """Try again at this time."""

    at: Instant
    why: str


@dataclass(frozen=True, slots=True, kw_only=True)
class Dead:
    """Never try again: it has been given up."""

    why: str


def decide(
    outcome: Outcome,
    *,
    text: OutboxText,
    attempts: int,
    now: Instant,
    give_up_after_seconds: float,
    jitter: Callable[[float], float],
) -> Accepted | Again | Dead:
    """What to record of a text after this attempt (`attempts` counts it, from 1).

    A failed text waits 5 s, 10 s, 20 s and so on, jittered, up to a minute for a high priority
    and five for others; what the gateway asked for counts, up to ten minutes. It is dead once it
    is older than `give_up_after_seconds` and has had its fewest attempts; no wait goes beyond
    that end.
    """
    if isinstance(outcome, Accepted):
        return outcome
    if isinstance(outcome, NeverAccepted):
        return Dead(why=outcome.why)
    end = text.created + round(give_up_after_seconds * SECOND)
    if now >= end and attempts >= FEWEST_ATTEMPTS:
        return Dead(why=f"given up after {attempts} attempts; the last: {outcome.why}")
    wait = jitter(backoff_seconds(attempts, text.priority))
    if outcome.asked_seconds is not None:
        wait = max(wait, min(outcome.asked_seconds, LONGEST_ASKED_SECONDS))
    at = now + max(SECOND, round(wait * SECOND))
    return Again(at=min(at, end) if now < end else at, why=outcome.why)


def backoff_seconds(attempts: int, priority: Priority) -> float:
    """How long to wait after so many failed attempts, before jitter."""
    return doubled_wait_seconds(
        attempts,
        first_seconds=FIRST_WAIT_SECONDS,
        longest_seconds=LONGEST_WAIT_SECONDS[priority],
    )


def is_due(text: OutboxText, now: Instant) -> bool:
    """May it be tried now?

    What was never tried is due since it was written: it waits for no clock that was set back since.
    A next attempt further ahead than any wait is long was written by a clock that ran ahead and
    has been put right since: such a text is due, not late by hours.
    """
    if text.attempts == 0:
        return True
    longest = round(LONGEST_ASKED_SECONDS * SECOND)
    return text.next_attempt <= now or text.next_attempt > now + longest


def ready(texts: Sequence[OutboxText], now: Instant) -> list[OutboxText]:
    """The open texts that may be tried now: high priorities first, then the oldest.

    Texts to one person about one alarm keep their order: "cleared" never overtakes "raised",
    even where "raised" waits for its next attempt. Different alarms don't wait for one another.
    """
    in_order = sorted(texts, key=lambda text: (text.created, text.id))
    first_about: dict[tuple[str, str, int], str] = {}
    for text in in_order:
        if text.known_as and not is_due(text, now):
            continue  # it has gone out; its receipt holds up nothing
        first_about.setdefault((text.person, text.depot, text.number), text.id)
    firsts = frozenset(first_about.values())
    due = [text for text in in_order if text.id in firsts and is_due(text, now)]
    return sorted(due, key=lambda text: _PRESSING[text.priority])


def seconds_until_next(texts: Sequence[OutboxText], now: Instant) -> float | None:
    """How long until a text that waits becomes due; None where none waits."""
    waits = [text.next_attempt - now for text in texts if not is_due(text, now)]
    return min(waits) / SECOND if waits else None
