"""What people do, in the engine: a take, a test, a record, an answer; what became of a text."""

from collections.abc import Callable, Sequence
from typing import Any

from brineward.alarms.condition import Site
from brineward.book.book import AlarmBook
from brineward.book.booked_alarm import Change
from brineward.engine.times_believed import FIRST, LAST
from brineward.plant.probes import Probe
from brineward.readings.entries import (
    Answer,
    Delivery,
    Handling,
    HandRecord,
    HandTest,
    StruckTest,
    Take,
)
from brineward.readings.instants import Instant
from brineward.readings.outputs import Output
from brineward.telling.telling import Telling

PeoplesAct = Take | Handling | HandTest | StruckTest | HandRecord | Answer | Delivery


class PeoplesActs:
    """Each kind of act, and what follows from it at once.

    `told` turns changes of alarms into outputs with their texts.
    """

    def __init__(
        self,
        site: Site,
        book: AlarmBook,
        telling: Telling,
        told: Callable[[Sequence[Change]], list[Output]],
    ) -> None:
        self._depot = site.plan.id
        self._probes, self._reach = site.trackers.probes, site.watch.reach
        self._salt, self._records = site.trackers.salt_balances, site.trackers.records
        self._book, self._telling, self._told = book, telling, told
        self._how: dict[type, Callable[[Any, Instant, int], Sequence[Output]]] = {
            Take: self._take,
            Handling: self._handle,
            HandTest: self._test,
            StruckTest: self._strike,
            HandRecord: self._record,
            Answer: self._answer,
            Delivery: self._delivery,
        }
        self.kinds = tuple(self._how)

    def done(self, act: PeoplesAct, now: Instant, lag: int) -> Sequence[Output]:
        """It was done `now`, when the news was `lag` ms old; time has come to it already."""
        return self._how[type(act)](act, now, lag)

    def _take(self, take: Take, now: Instant, lag: int) -> Sequence[Output]:
        return self._told(self._book.take(take.number, take.by, now))

    def _handle(self, entry: Handling, now: Instant, lag: int) -> Sequence[Output]:
        changes = self._book.handle(entry, now)
        if entry.what == "hand back" and not changes:
            return self._telling.declined(entry.number, entry.by, now, lag)
        return self._told(changes)

    def _test(self, test: HandTest, now: Instant, lag: int) -> Sequence[Output]:
        """A hydrometer test: what it shows about its vessel's probe, and what it leads to ask."""
        probe = self._probes.get(test.vessel)
        if probe is None or not FIRST <= test.at <= LAST:
            return ()
        paired = probe.learn(test).log_factor is not None
        return self._learned(probe, now, corrected=paired)

    def _strike(self, strike: StruckTest, now: Instant, lag: int) -> Sequence[Output]:
        """A test is struck: what it had shown is forgotten, and what it led to is judged anew."""
        probe = self._probes.get(strike.vessel)
        if probe is None or not probe.strike(strike):
            return ()
        return self._learned(probe, now, corrected=True)

    def _learned(self, probe: Probe, now: Instant, *, corrected: bool) -> Sequence[Output]:
        factor = probe.factor(self._depot, now) if corrected else None
        asked = self._told(self._book.judge_after(probe, now))
        return [*(() if factor is None else (factor,)), *asked]

    def _record(self, entry: HandRecord, now: Instant, lag: int) -> Sequence[Output]:
        """Work that was recorded: a delivery of salt is what its balance counts from."""
        number = self._records.next()
        for balance in self._salt:
            balance.recorded(number, entry)
        return ()

    def _answer(self, answer: Answer, now: Instant, lag: int) -> Sequence[Output]:
        """Somebody's text is answered; one who opted out can't be texted about alarms any more."""
        outputs: list[Output] = []
        reach = self._reach.get(answer.person)
        if reach is not None and answer.opted:
            reach.answered(answer)
            outputs += self._told(self._book.judge_after(reach, now))
            if reach.opted_out:
                outputs += self._telling.not_reached(0, answer.person, now, lag)
        if answer.body:
            outputs.append(self._telling.answer(answer.person, answer.body, now))
        return outputs

    def _delivery(self, delivery: Delivery, now: Instant, lag: int) -> Sequence[Output]:
        reach = self._reach.get(delivery.person)
        if reach is None:
            return ()
        reach.delivered(delivery)
        outputs = self._told(self._book.judge_after(reach, now))
        if delivery.outcome == "dead" and delivery.number:
            outputs += self._telling.not_reached(delivery.number, delivery.person, now, lag)
        return outputs
