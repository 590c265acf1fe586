"""Sending what is due, one look at the outbox at a time, with a lane for every channel."""

import logging
from collections.abc import Callable, Mapping, Sequence
from concurrent.futures import Future
from contextlib import suppress
from dataclasses import dataclass
from typing import Protocol

from brineward.clock import Clock, jittered
from brineward.config.settings import Channel, Person
from brineward.followers.errors import place_of
from brineward.readings.instants import Instant
from brineward.texts.attempts import (
    Accepted,
    Dead,
    Failed,
    NeverAccepted,
    OutboxText,
    Outcome,
    decide,
    ready,
    seconds_until_next,
)
from brineward.texts.from_memory import FromMemory
from brineward.texts.senders import OutgoingText, Sender
from brineward.texts.ways import Ways

LONGEST_SLEEP_SECONDS = 5.0
"""The outbox is looked at this often at least, should a wake-up be missed."""
STUCK_AFTER_SECONDS = 120.0
"""A channel that is busy with one text for longer than this is reported."""
_TEXTS_SEEN = 10_000
_EVER: Instant = 2**62

_log = logging.getLogger(__name__)


class Outbox(Protocol):
    """What the journal offers; used from one thread only, the one that opened it."""

    @property
    def refusals(self) -> tuple[type[Exception], ...]:
        """What it raises where the disk refuses, whatever was to be recorded; all else that it
        raises is about the one text."""
        ...

    def texts_open(self, now: Instant, limit: int = ...) -> Sequence[OutboxText]:
        """The open texts that are due by now."""
        ...

    def record_attempt(self, text_id: str, at: Instant) -> int:
        """Count an attempt before it is made; its number, from 1. Raises: KeyError."""
        ...

    def record_accepted(self, text_id: str, at: Instant, receipt: str) -> None:
        """The channel has taken it."""
        ...

    def record_retry(self, text_id: str, at: Instant, next_at: Instant, why: str) -> None:
        """The attempt failed; there will be another."""
        ...

    def record_dead(self, text_id: str, at: Instant, why: str) -> None:
        """There will be no other attempt."""
        ...

    def record_way(self, text_id: str, at: Instant, next_at: Instant, way: int, why: str) -> None:
        """This way failed; the person's channel at place `way` is next."""
        ...

    def record_sent(
        self, text_id: str, at: Instant, until: Instant, known_as: str, receipt: str
    ) -> None:
        """The channel has taken it; its receipt is awaited until then."""
        ...

    def close(self) -> None:
        """Let go of the file."""
        ...


class Pool(Protocol):
    """A thread that does one thing after the other."""

    def submit(
        self, task: Callable[[OutgoingText], Outcome], text: OutgoingText, /
    ) -> Future[Outcome]:
        """Do it as soon as possible."""
        ...


@dataclass(frozen=True, slots=True, kw_only=True)
class _Flight:
    text: OutboxText
    attempts: int
    began: float
    """On the clock that never steps."""
    outcome: Future[Outcome]

    def may_have_gone_out(self) -> bool:
        """Is it in the air, or was it taken?"""
        if not self.outcome.done():
            return True
        return self.outcome.exception() is None and isinstance(self.outcome.result(), Accepted)


class Lane:
    """One channel, with at most one text in the air."""

    def __init__(self, channel: Channel, sender: Sender, pool: Pool) -> None:
        self.channel = channel
        self.flight: _Flight | None = None
        self.said_stuck = False
        self.said_unusable = ""
        """What was last reported of this channel that the operator must put right."""
        self._sender = sender
        self._pool = pool

    def launch(self, text: OutboxText, sent: OutgoingText, now: float) -> Future[Outcome]:
        """Hand the text to the channel's thread; `now` by the clock that never steps."""
        outcome = self.submit(sent)
        self.flight = _Flight(text=text, attempts=sent.attempt, began=now, outcome=outcome)
        return outcome

    def submit(self, sent: OutgoingText) -> Future[Outcome]:
        """Have the channel's thread try it, after what it has to try already. From any thread."""
        return self._pool.submit(self._sender.send, sent)


class Dispatcher:
    """Sends what is due and records what became of it; has no thread of its own.

    `on_missed` is told of each channel that took a text and gave no receipt in time, `on_awaited`
    by which name a receipt is awaited from now on.
    """

    def __init__(
        self,
        outbox: Outbox,
        lanes: Mapping[str, Lane],
        people: Mapping[str, Person],
        clock: Clock,
        *,
        wake: Callable[[], None],
        on_trouble: Callable[[str], None],
        from_memory: FromMemory | None = None,
        on_missed: Callable[[str], None] = lambda channel: None,
        on_awaited: Callable[[str], None] = lambda known_as: None,
    ) -> None:
        self._outbox = outbox
        self._on_missed = on_missed
        self._on_awaited = on_awaited
        self._lanes = lanes
        self._people = people
        self._clock = clock
        self._wake = wake
        self._on_trouble = on_trouble
        self._from_memory = from_memory
        self._ways = Ways(outbox)

    def turn(self) -> float:
        """Record what has landed, launch what is due; returns how long nothing more is due.

        Raises what the outbox raises; a landed text stays landed until it is recorded. A text that
        fails by itself holds up no other: it is raised when the others are on their way. Where the
        disk refuses the record of an attempt, what can't wait is sent without, before this raises.
        """
        try:
            self._record_landed()
            return self._launch_due()
        except self._outbox.refusals:
            self._send_unrecorded()
            raise

    def _send_unrecorded(self) -> None:
        """The disk takes no record of an attempt: what can't wait goes out without."""
        memory = self._from_memory
        if memory is None:
            return
        flights = [lane.flight for lane in self._lanes.values() if lane.flight is not None]
        held = {flight.text.id for flight in flights if flight.may_have_gone_out()}
        unsent = [
            text
            for text in self._outbox.texts_open(_EVER, _TEXTS_SEEN)
            if not isinstance(memory.sent(text.id), Accepted)
        ]
        due = ready(unsent, self._clock.now())
        memory.send_kept(text for text in due if text.id not in held and not text.known_as)

    def _launch_due(self) -> float:
        now = self._clock.now()
        waiting = self._outbox.texts_open(_EVER, _TEXTS_SEEN)
        failed: Exception | None = None
        for text in ready(waiting, now):
            try:
                if not self._sent_from_memory(text, now):
                    self._launch(text, now)
            except self._outbox.refusals:
                raise
            except Exception as error:  # noqa: BLE001 - raised below, whatever it is
                failed = error
        if failed is not None:
            raise failed
        until_next = seconds_until_next(waiting, now)
        return (
            LONGEST_SLEEP_SECONDS if until_next is None else min(until_next, LONGEST_SLEEP_SECONDS)
        )

    def land(self) -> bool:
        """Record what has landed and launch nothing; is a text still in the air?"""
        self._record_landed()
        return any(lane.flight is not None for lane in self._lanes.values())

    def close(self) -> None:
        """Let go of the outbox; what is in the air stays with its lane."""
        self._outbox.close()

    def _sent_from_memory(self, text: OutboxText, now: Instant) -> bool:
        """Was it sent, or is it being sent, before the disk took its record? Then keep that."""
        sent = self._from_memory.sent(text.id) if self._from_memory is not None else None
        if sent is None or self._from_memory is None:
            return False
        if isinstance(sent, Accepted):
            with suppress(KeyError):  # settled since it was read
                self._outbox.record_attempt(text.id, now)
            self._outbox.record_accepted(text.id, now, sent.receipt)
            self._from_memory.forget(text.id)
            self._wake()
        return True

    def _launch(self, text: OutboxText, now: Instant) -> None:
        person = self._people.get(text.person)
        if person is None:
            why = f"nobody called {text.person} is in the config any more"
            self._outbox.record_dead(text.id, now, why)
            return
        way = text.way % len(person.channels)
        lane = self._lanes.get(person.channels[way])
        if text.known_as:
            why = text.why or "it was taken, but no receipt came in time"
            self._pass_over(text, person, f"channel {person.channels[way]}: {why}", now)
            if not text.why:
                self._on_missed(person.channels[way])
            return
        if lane is None:
            why = f"the channel {person.channels[way]} of {text.person} is not in the config"
            self._pass_over(text, person, why, now)
            return
        if lane.flight is not None:
            return  # with this text or another; the lane wakes us when it is free
        try:
            attempt = self._outbox.record_attempt(text.id, now)
        except KeyError:
            return  # settled since it was read
        sent = OutgoingText.to(person, text, key=text.key, attempt=attempt, channel=lane.channel)
        lane.launch(text, sent, self._clock.monotonic_seconds()).add_done_callback(
            lambda _: self._wake()
        )

    def _pass_over(self, text: OutboxText, person: Person, why: str, now: Instant) -> None:
        """It will not reach the person by this way."""
        self._ways.failed(text, person, NeverAccepted(why=why), now, Dead(why=why))
        self._wake()

    def _record_landed(self) -> None:
        for lane in self._lanes.values():
            flight = lane.flight
            if flight is not None and flight.outcome.done():
                self._record_or_drop(lane, flight)
                lane.flight = None
                lane.said_stuck = False
            elif flight is not None:
                self._look_at_stuck(lane, flight)

    def _look_at_stuck(self, lane: Lane, flight: _Flight) -> None:
        seconds = self._clock.monotonic_seconds() - flight.began
        if seconds > STUCK_AFTER_SECONDS and not lane.said_stuck:
            lane.said_stuck = True
            self._on_trouble(
                f"channel {lane.channel.id} has been busy with one text for {seconds:.0f} s"
            )

    def _record_or_drop(self, lane: Lane, flight: _Flight) -> None:
        """Where the disk refuses, the flight is kept; where this outcome alone can't be recorded,
        that is recorded as a failure, or every turn to come would fail by it."""
        try:
            self._record(lane, flight, self._outcome_of(lane, flight))
        except self._outbox.refusals:
            raise
        except Exception as error:  # noqa: BLE001 - a channel may answer anything; it is reported
            why = (
                f"channel {lane.channel.id}: what became of a text can't be recorded:"
                f" {place_of(error)}"
            )
            self._on_trouble(why)
            # If this can't be recorded either, the turn fails: a text that is open and has no
            # flight would be sent again at once, and for ever.
            self._record(lane, flight, Failed(why=why))

    def _record(self, lane: Lane, flight: _Flight, outcome: Outcome) -> None:
        text, now = flight.text, self._clock.now()
        self._look_at_unusable(lane, outcome)
        decision = decide(
            outcome,
            text=text,
            attempts=flight.attempts,
            now=now,
            give_up_after_seconds=lane.channel.give_up_after_seconds,
            jitter=jittered,
        )
        if isinstance(decision, Accepted):
            self._ways.taken(text, decision, now)
            if decision.known_as:
                self._on_awaited(decision.known_as)
            return
        if not lane.said_unusable:  # that has been said already, and louder
            _log.info("text %s did not go out: %s", text.id, decision.why)
        person = self._people.get(text.person)
        if person is not None and not isinstance(outcome, Accepted):
            self._ways.failed(text, person, outcome, now, decision)

    def _look_at_unusable(self, lane: Lane, outcome: Outcome) -> None:
        """Report what the operator must put right: once, and again when it is something else."""
        why = outcome.why if isinstance(outcome, Failed) and outcome.channel_unusable else ""
        if why and why != lane.said_unusable:
            self._on_trouble(why)
        lane.said_unusable = why

    def _outcome_of(self, lane: Lane, flight: _Flight) -> Outcome:
        error = flight.outcome.exception()
        if error is None:
            return flight.outcome.result()
        # The error's own words are left out: they may quote a header or a URL with a secret.
        why = f"channel {lane.channel.id} failed unexpectedly: {place_of(error)}"
        self._on_trouble(why)
        return Failed(why=why)
