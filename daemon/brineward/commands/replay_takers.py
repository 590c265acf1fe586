"""`brineward replay --taken-after`: somebody who takes each alarm that long after being texted."""

import heapq
from collections.abc import Iterable, Iterator

from brineward.readings.entries import Entry, Take, Tick
from brineward.readings.instants import Instant
from brineward.readings.outputs import Output, TextDue
from brineward.readings.values import Reading

_CALLS = ("raised", "again", "several")
"""The notices that ask somebody to take an alarm."""


class Takers:
    """Whoever is texted first of an alarm takes it `after` milliseconds later."""

    def __init__(self, after: Instant) -> None:
        self._after = after
        self._due: list[tuple[Instant, str, int, str]] = []
        self._asked: set[tuple[str, int]] = set()
        """The alarms that somebody is about to take."""

    def hear(self, outputs: tuple[Output, ...]) -> None:
        """What the engine says: perhaps somebody is texted."""
        for text in outputs:
            if not isinstance(text, TextDue) or text.kind not in _CALLS or not text.number:
                continue
            for number in (text.number, *text.notice.also):
                if (text.depot, number) not in self._asked:
                    self._asked.add((text.depot, number))
                    due = (text.time + self._after, text.depot, number, text.person)
                    heapq.heappush(self._due, due)

    def among(self, entries: Iterable[Entry]) -> Iterator[Entry]:
        """The entries of a run, and what these people do among them by the time that it shows."""
        for entry in entries:
            if self._due and isinstance(entry, Reading | Tick):
                yield from self._taken(entry.time if isinstance(entry, Tick) else entry.received)
            yield entry

    def _taken(self, now: Instant) -> Iterator[Take]:
        while self._due and self._due[0][0] <= now:
            at, depot, number, person = heapq.heappop(self._due)
            self._asked.discard((depot, number))
            yield Take(depot=depot, time=at, received=at, number=number, by=person)
