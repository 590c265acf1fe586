"""The only worker: takes what arrives, lets the engine conclude, commits, and acknowledges.

Nothing is acknowledged before it is committed, together with everything that followed from it, in
one transaction. So after a crash either all of a batch is there or none of it, and the broker sends
the rest again.
"""

import logging
import threading
from collections.abc import Callable, Iterator, Sequence
from dataclasses import dataclass, replace

from brineward.clock import Clock
from brineward.decode.decoder import Decoder
from brineward.engine.engine import Engine
from brineward.journal import DiskTrouble, Journal
from brineward.link.inbox import Arrival
from brineward.link.link import Link
from brineward.link.messages import Message
from brineward.readings.entries import Act, ClockStepped, Entry, LinkChanged, ServiceTrouble, Tick
from brineward.readings.instants import MINUTE, SECOND, Instant
from brineward.readings.outputs import Step
from brineward.readings.values import Reading, Refusal, TimedBy
from brineward.service.keeper import TRY_AGAIN_SECONDS, Keeper
from brineward.service.lateness import Lateness
from brineward.service.news import only_news, same
from brineward.service.under_way import UnderWay
from brineward.wording.operator_units import duration

_LOG = logging.getLogger(__name__)

BATCH = 500
"""How many messages at most are committed at once."""

MOST_ENTRIES = 1_000
"""A batch ends with the message that brings it to so many entries: so it takes a second or so on
the smallest machine, whatever its messages unfold to."""

_ALL_WAITING = 10_000

LEAST_STEP = 2 * SECOND
"""A clock that differs by less from the one that never steps was disciplined, not set."""


STAMPED_WITHIN_SECONDS = 2.0
"""What was received is in the link's inbox by then."""


@dataclass(frozen=True, slots=True, kw_only=True)
class Pace:
    """How the worker spends its time; the compressed night uses another."""

    patience_seconds: float = 0.25
    """Real seconds to wait for messages before looking at the inbox and the deadlines."""
    tick_behind: int = 1 * SECOND
    """Ticks keep this far behind the clock, so that what is on its way comes first."""
    live: int = 30 * SECOND
    """A reading no older than this shows that the backlog is through,"""
    settle_seconds: float = 10.0
    """but for so long after a connect only one that no tick would have run ahead of: what came
    during a short break is never so old, and more of it may be on its way."""
    stall_seconds: float = 5.0
    """A round that took longer leaves old news in the queue: it comes before time goes on."""
    quiet_seconds: float = 2.0
    """After a connect: so long without a reading shows that there is no backlog,"""
    noise_seconds: float = 60.0
    """or so long, while messages that can't be read come faster than they are refused. What people
    do waits no longer for old news to end either."""
    clock_may_be_set: bool = True
    """Not so a made-up one, which stands still before it starts."""
    patience_for_link: int = MINUTE
    """How long after the start time stands still while there is no link yet."""


def _by_time(told: list[Reading | Refusal]) -> list[Reading | Refusal]:
    return sorted(told, key=lambda one: one.time if isinstance(one, Reading) else one.received)


class Worker:
    """Runs until told to stop.

    `last_alive` is when the last run showed that it watched; `on_turn` is called after every round,
    `on_room` when a disk that was full can be written to again.
    """

    def __init__(
        self,
        *,
        engine: Engine,
        journal: Journal,
        decoder: Decoder,
        link: Link,
        keeper: Keeper,
        clock: Clock,
        under_way: UnderWay,
        on_turn: Callable[[], None],
        on_room: Callable[[], None] | None = None,
        pace: Pace | None = None,
        last_alive: Instant | None = None,
    ) -> None:
        self._engine = engine
        self._journal = journal
        self._decoder = decoder
        self._link = link
        self._keeper = keeper
        self._clock = clock
        self._under_way = under_way
        self._left: list[Arrival] = []
        """Taken from the link, and for the next round."""
        self._to_acknowledge: list[Message] = []
        self._said_full = False
        self._shifts: dict[int, int] = {}
        """By how much the clock was set since an entry was put into the inbox, in ms."""
        self._set_by, self._set_at = 0, 0.0
        """By how much the clock was set while what waits now was received, in ms, and when."""
        self._pace = pace or Pace()
        self._on_turn = on_turn
        self._on_room = on_room
        self._blind_since = last_alive
        """Since when no reading can have come; None while the link is up."""
        self._behind = True
        """Old news may still be on its way: time must not run ahead of it."""
        self._behind_since: float | None = None
        self._lateness = Lateness()
        self._quiet_since: float | None = None
        self._turned = clock.monotonic_seconds()
        self._started = self._clock_was = clock.now()
        self._steady_was = self._turned
        self._linked = False
        self._linked_at = self._turned

    def begin(self, first: Sequence[Entry]) -> None:
        """Commit the entries that the service starts with. Raises: JournalUnusable."""
        self._keeper.commit([self._step(entry) for entry in first], [])

    def run(self, stop: threading.Event) -> None:
        """Work until `stop` is set. Raises: LinkFailed, JournalUnusable."""
        while not stop.is_set():
            self.turn(stop)
        self._keeper.keep_state()
        self._under_way.close()

    def turn(self, stop: threading.Event) -> None:
        """One round: take, conclude, commit, acknowledge."""
        if self._keeper.must_wait:
            self._clock.wait(stop, TRY_AGAIN_SECONDS)
            self._committed([], [])
            self._on_turn()
            return
        arrivals = self._taken()
        steps = [self._step(step) for step in self._steps_of_the_clock()]
        arrivals = self._by_the_clock_as_set(arrivals)
        steps += [self._step(step) for step in self._steps_of_the_disk()]
        handled = self._handle(arrivals, steps)
        self._left = arrivals[handled:]
        self._note_to_acknowledge(arrivals[:handled])
        self._note_backlog(steps)
        if self._behind:
            done = self._take_acts(steps)
        else:
            self._behind_since = None
            done = self._take_inbox(steps)
            self._tick(steps)
        self._committed(steps, done)
        self._on_turn()

    def _note_to_acknowledge(self, arrivals: Sequence[Arrival]) -> None:
        messages = (one for one in arrivals if isinstance(one, Message))
        if self._keeper.holding:  # perhaps for hours, and again after every connect
            messages = (message._replace(payload=b"") for message in messages)
        self._to_acknowledge += messages

    def _committed(self, steps: Sequence[Step], done: Sequence[int]) -> None:
        """Commit, and acknowledge all that is kept by then; what is held is not."""
        something = steps or done or self._to_acknowledge or self._keeper.holding
        if not something or not self._keeper.commit(steps, done):
            return
        self._note_recorded()
        if self._to_acknowledge:
            self._link.acknowledge(self._to_acknowledge)
            self._to_acknowledge = []

    def _note_recorded(self) -> None:
        try:
            self._under_way.recorded = self._journal.ordering.last_seq()
        except DiskTrouble as why:
            _LOG.error("%s; how far the journal reaches will be recorded later", why)

    @property
    def _waiting(self) -> int:
        return self._link.waiting + len(self._left)

    def _taken(self) -> list[Arrival]:
        if self._left:
            return self._left
        return self._link.take(BATCH, self._patience())

    def _steps_of_the_disk(self) -> Iterator[ServiceTrouble]:
        """A full disk takes no entry from the upkeep: it is told to the engine here."""
        if self._keeper.full == self._said_full:
            return
        self._said_full = self._keeper.full
        if not self._said_full and self._on_room is not None:
            self._on_room()
        sentence = (
            "the journal's disk is full and nothing is recorded; texts still go out"
            if self._said_full
            else "the journal's disk can be written to again"
        )
        yield ServiceTrouble(
            time=self._now() - self._pace.tick_behind,
            trouble="disk-low",
            present=self._said_full,
            sentence=sentence,
        )

    def _now(self) -> Instant:
        """Now, by a clock that is not set before the engine has heard of it: a tick by one that
        was set in the middle of a round would be a jump in time."""
        elapsed = self._clock.monotonic_seconds() - self._steady_was
        return self._clock_was + round(elapsed * SECOND)

    def _steps_of_the_clock(self) -> Iterator[ClockStepped]:
        """Was this machine's clock set? It is held against one that never steps."""
        now, steady = self._clock.now(), self._clock.monotonic_seconds()
        by = now - self._clock_was - round((steady - self._steady_was) * SECOND)
        self._clock_was, self._steady_was = now, steady
        if abs(by) < LEAST_STEP or not self._pace.clock_may_be_set:
            return
        _LOG.warning("this machine's clock was set by %.1f s", by / SECOND)
        self._started += by
        if self._blind_since is not None:
            self._blind_since += by
        self._note_shifts(by, now)
        self._set_by, self._set_at = self._set_by + by, steady
        yield ClockStepped(time=now, by=by)

    def _by_the_clock_as_set(self, arrivals: list[Arrival]) -> list[Arrival]:
        """What was received before the clock was set, and is taken after, as it would show it now.

        Else it would seem to agree with the wrong one of the two.
        """
        by = self._set_by
        if not by:
            return arrivals
        if self._link.waiting == 0 and self._turned - self._set_at >= STAMPED_WITHIN_SECONDS:
            self._set_by = 0
        now = self._clock_was
        restamped: list[Arrival] = []
        for one in arrivals:
            shown = one.time if isinstance(one, LinkChanged) else one.received
            if abs(shown + by - now) >= abs(shown - now):
                restamped.append(one)
            elif isinstance(one, LinkChanged):
                restamped.append(replace(one, time=shown + by))
            else:
                restamped.append(one._replace(received=shown + by))
        return restamped

    def _note_shifts(self, by: int, now: Instant) -> None:
        """What waits in the inbox has its time by the clock as it was before it was set."""
        for number, entry in self._inbox_waiting(_ALL_WAITING):
            if not isinstance(entry, Reading | Refusal) and (
                abs(entry.time + by - now) < abs(entry.time - now)
            ):
                self._shifts[number] = self._shifts.get(number, 0) + by

    # -- arrivals

    def _step(self, entry: Entry) -> Step:
        return Step(entry, self._engine.step(entry))

    def _handle(self, arrivals: Sequence[Arrival], steps: list[Step]) -> int:
        """Read and judge what arrived, all of it at once or, where one of them may end the watch,
        each alone; they are committed together. Returns how many of them were handled."""
        alone = self._under_way.one_at_a_time
        handled = 0
        for some in [[one] for one in arrivals] if alone else [arrivals]:
            self._under_way.begin([one for one in some if isinstance(one, Message)])
            entries, count = self._in_turn(some, steps)
            steps += [self._step(entry) for entry in entries]
            self._under_way.end()
            handled += count
            if len(steps) >= MOST_ENTRIES:
                break
        return handled

    def _in_turn(
        self, arrivals: Sequence[Arrival], before: Sequence[Step]
    ) -> tuple[list[Entry], int]:
        """The entries of what arrived, by their times: brokers keep order within a topic only.

        And how many of the arrivals these are: as many as one batch may unfold to. `before` are
        the steps that will be committed with them.
        """

        def holds(reading: Reading) -> bool:
            return self._keeper.holds(reading) or any(same(reading, one.entry) for one in before)

        entries: list[Entry] = []
        told: list[Reading | Refusal] = []
        decode = self._decoder.decode
        handled = 0
        for arrival in arrivals:
            handled += 1
            if isinstance(arrival, LinkChanged):
                entries += _by_time(told)
                told = []
                entries.append(self._link_changed(arrival))
            elif aside := self._under_way.refusals(arrival):
                told += aside
            else:
                told += decode(arrival.topic, arrival.payload, arrival.received, arrival.retained)
            if len(entries) + len(told) >= MOST_ENTRIES:
                break
        entries += _by_time(told)
        return only_news(entries, holds, self._engine.now), handled

    def _link_changed(self, link: LinkChanged) -> LinkChanged:
        """Take note; after a time without a link, the entry says how long that was."""
        self._linked = link.up
        self._linked_at = self._clock.monotonic_seconds()
        self._behind = link.up
        self._lateness.link_changed()
        self._quiet_since = None
        if not link.up:
            if self._blind_since is None:
                self._blind_since = link.time
            return link
        if self._blind_since is None:
            return link
        seconds = max(0.0, (link.time - self._blind_since) / SECOND)
        blind = f"link back after {duration(seconds)}"
        self._blind_since = None
        self._decoder.expect_backlog(seconds, link.time)
        if link.gap:
            why = f"{blind}; readings may be missing: {link.why or 'the broker kept nothing'}"
            _LOG.warning("%s", why)
        else:
            kept = "the broker kept the session; anything its queue could not hold is lost"
            why = f"{blind}; {kept}{f'; {link.why}' if link.why else ''}"
            _LOG.info("%s", why)
        return replace(link, why=why)

    def _note_backlog(self, steps: Sequence[Step]) -> None:
        now = self._clock.monotonic_seconds()
        stalled, self._turned = now - self._turned > self._pace.stall_seconds, now
        read = (step.entry for step in reversed(steps) if isinstance(step.entry, Reading))
        last = next(read, None)
        age = last.received - last.time if last is not None else 0
        live = self._pace.live + self._lateness.usual
        old = age >= live
        if stalled or len(steps) >= BATCH or (old and self._waiting > 0):
            self._behind = True
        if not self._behind:
            return
        if not self._linked:
            # No link yet: time stands still for a while, then what fails to come is announced.
            self._behind = self._clock.now() - self._started < self._pace.patience_for_link
        elif last is not None:
            self._quiet_since = None
            self._behind = not self._shows_the_present(last, age, live, now)
        elif self._quiet_since is None:
            self._quiet_since = now
        else:
            # What nobody can read is no news: it may come for ever.
            full = self._waiting > 0
            quiet = self._pace.quiet_seconds if not full else self._pace.noise_seconds
            self._behind = now - self._quiet_since < quiet

    def _shows_the_present(self, last: Reading, age: int, live: int, now: float) -> bool:
        """Is a round's newest reading one that comes after all that had waited?"""
        settled = now - self._linked_at >= self._pace.settle_seconds
        # What has no time of its own may have waited: it shows nothing before things settle.
        if not settled and last.timed_by is not TimedBy.SENSOR:
            return False
        if self._waiting > 0:  # in a flood something always waits
            return settled and age < self._pace.tick_behind
        if age >= live:
            self._lateness.heard(age, now)
        return age < (live if settled else self._pace.tick_behind)

    # -- the inbox and time

    def _take_inbox(self, steps: list[Step]) -> list[int]:
        # An act that ran ahead of readings on their way would make them late.
        latest = self._now() - self._pace.tick_behind
        done: list[int] = []
        held = self._keeper.held_done
        for number, entry in self._inbox_waiting():
            if number in held:
                continue
            if not isinstance(entry, Reading | Refusal):
                shift = self._shifts.pop(number, 0)
                time = min(entry.time + shift, latest)
                entry = replace(entry, time=time)  # noqa: PLW2901 - the same entry, held back
                if isinstance(entry, Act):
                    # Later than what its depot has come to, it would count as let through among
                    # old news, and what follows from it as old: it is of now, only held back.
                    came = min(entry.received + shift, latest)
                    entry = replace(entry, received=came)  # noqa: PLW2901 - as above
            steps.append(self._step(entry))
            done.append(number)
        return done

    def _take_acts(self, steps: list[Step]) -> list[int]:
        """Where old news does not end, what people did is carried out all the same: at the time
        that its depot has come to, so that no time runs ahead of the news and nothing seems silent.
        """
        if self._behind_since is None:
            self._behind_since = self._turned
        if self._turned - self._behind_since <= self._pace.noise_seconds:
            return []
        done: list[int] = []
        held = self._keeper.held_done
        for number, entry in self._inbox_waiting(_ALL_WAITING):
            if number in held or not isinstance(entry, Act):
                continue
            reached = self._engine.reached(entry.depot)
            if reached is None:
                continue
            time = min(entry.time + self._shifts.pop(number, 0), reached)
            steps.append(self._step(replace(entry, time=time, received=self._now())))
            done.append(number)
        return done

    def _inbox_waiting(self, limit: int = 100) -> list[tuple[int, Entry]]:
        try:
            return self._journal.inbox.waiting(limit)
        except DiskTrouble as why:
            _LOG.error("%s; trying again", why)
            return []

    def _tick(self, steps: list[Step]) -> None:
        time = self._now() - self._pace.tick_behind
        deadline = self._engine.next_deadline
        if deadline is not None and deadline <= time:
            steps.append(self._step(Tick(time=time)))

    def _patience(self) -> float:
        deadline = self._engine.next_deadline
        if deadline is None or self._behind:
            return self._pace.patience_seconds
        wait = (deadline + self._pace.tick_behind - self._clock.now()) / SECOND
        return min(self._pace.patience_seconds, max(0.005, wait))
