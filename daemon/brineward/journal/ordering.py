"""Entries and outputs in the order of processing: for resuming, and for replaying."""

import sqlite3
from collections.abc import Callable, Collection, Iterator, Mapping
from dataclasses import dataclass
from heapq import merge
from operator import itemgetter
from typing import Any, Final, NamedTuple

from brineward.journal import bodies
from brineward.journal.handle import Handle
from brineward.journal.schema import OUTPUTS_PER_ENTRY
from brineward.readings.entries import Entry
from brineward.readings.outputs import Derived, Output
from brineward.readings.values import Reading, Refusal

_CHUNK: Final = 5_000  # so many entries in one look, so that a long replay never pins the WAL

_LAST: Final = (1 << 62) // OUTPUTS_PER_ENTRY

_READINGS = "SELECT seq, series, time, value, mark, lag FROM {} WHERE seq BETWEEN ? AND ?"
_SOURCES: Final = (
    _READINGS.format("reading"),
    _READINGS.format("second_reading"),
    """SELECT seq, refusal.series, received, reason, sentence, topic, payload
       FROM refusal LEFT JOIN refusal_kept USING (seq) WHERE refusal.seq BETWEEN ? AND ?""",
    "SELECT seq, kind, body FROM happening WHERE seq BETWEEN ? AND ?",
)
_DERIVED: Final = """SELECT place, series, time, value, uncertainty, calibrated
    FROM derived WHERE place BETWEEN ? AND ? ORDER BY place"""
_FIRSTS: Final = (
    "SELECT min(seq) FROM reading WHERE series IN (SELECT id FROM series WHERE depot = ?)",
    "SELECT min(seq) FROM refusal WHERE series IN (SELECT id FROM series WHERE depot = ?)",
    "SELECT min(seq) FROM happening WHERE depot = ?",
)
_OUTPUT: Final = "SELECT place, kind, body FROM output WHERE place BETWEEN ? AND ? ORDER BY place"


class Placed(NamedTuple):
    """A step as the journal holds it, with its place in the order."""

    seq: int
    entry: Entry
    outputs: tuple[Output, ...]


@dataclass(frozen=True, slots=True, kw_only=True)
class Resumed:
    """What the engine goes on from: its last states, and what was committed after them."""

    states: Mapping[str, bytes]
    """The last state of each depot that has one."""
    after: Mapping[str, int]
    """For every depot asked about: the seq that its state already knows; 0 for none."""
    tail: Iterator[Placed]
    """The steps after the oldest of these, in order; outputs are what was concluded then."""

    def concerns(self, depot: str, placed: Placed) -> bool:
        """Has the depot's state still to be told of this entry?"""
        own = getattr(placed.entry, "depot", depot)
        return own == depot and placed.seq > self.after[depot]


class Ordering(Handle):
    """Reading the journal in the order in which the engine took it."""

    def last_seq(self) -> int:
        """The seq of the last entry that was committed; 0 in a new journal."""
        with self._reading() as db:
            return int(db.execute("SELECT last_seq FROM progress").fetchone()[0])

    def resume(self, depots: Collection[str]) -> Resumed:
        """The last states of these depots and the steps since the oldest of them.

        A depot that has no state yet begins at the service's start before its first entry; one
        that the journal has never heard of does not lengthen the tail.

        Raises: DiskTrouble, JournalUnusable.
        """
        with self._reading() as db:
            states: dict[str, bytes] = {}
            after: dict[str, int] = {}
            last = int(db.execute("SELECT last_seq FROM progress").fetchone()[0])
            for depot in depots:
                select = "SELECT seq, state FROM snapshot WHERE depot = ?"
                row = db.execute(select, (depot,)).fetchone()
                if row is not None:
                    after[depot], states[depot] = int(row[0]), bytes(row[1])
                else:
                    after[depot] = _before_first(db, depot, last)
        return Resumed(
            states=states, after=after, tail=self.steps(min(after.values(), default=last) + 1)
        )

    def entries(self, from_seq: int = 0) -> Iterator[Entry]:
        """Every entry from this seq on, in the order of processing, up to the last one now."""
        return map(itemgetter(1), self.steps(from_seq, with_outputs=False))

    def outputs(self, from_seq: int = 0) -> Iterator[tuple[int, tuple[Output, ...]]]:
        """The outputs of each entry that had some, with its seq, in order."""
        return ((step.seq, step.outputs) for step in self.steps(from_seq) if step.outputs)

    def steps(self, from_seq: int = 0, *, with_outputs: bool = True) -> Iterator[Placed]:
        """Every step from this seq on, in order, up to the last one now; read in short looks.

        What was thinned is no longer among them, nor what was concluded from it; alarm changes,
        episodes and texts are then still found by depot and time.

        Raises: DiskTrouble, JournalUnusable.
        """
        last = self.last_seq()
        low = from_seq
        while low <= last:
            with self._reading() as db:
                rows, high = _rows_from(db, low, last)
                outputs = self._outputs_between(db, low, high) if with_outputs else {}
                placed = [
                    Placed(row[0], self._entry(kind, row), outputs.get(row[0], ()))
                    for row, kind in rows
                ]
            yield from placed
            low = high + 1

    def _entry(self, source: int, row: tuple[Any, ...]) -> Entry:
        if source <= 1:
            return self._reading_from(*row[1:])
        if source == 2:
            _, series, received, reason, sentence, topic, payload = row
            depot, sensor = self._series_name(series)
            return Refusal(
                depot, sensor, received, reason, sentence or "", topic or "", bytes(payload or b"")
            )
        return bodies.entry_from(row[1], row[2])

    def _reading_from(
        self, series: int, time: int, value: float | None, mark: int, lag: int
    ) -> Reading:
        depot, sensor = self._series_name(series)
        return Reading(depot, sensor, time, value, time + lag, *self._mark(mark))

    def _outputs_between(
        self, db: sqlite3.Connection, low: int, high: int
    ) -> dict[int, tuple[Output, ...]]:
        places = (low * OUTPUTS_PER_ENTRY, (high + 1) * OUTPUTS_PER_ENTRY - 1)
        derived = ((place, self._derived(*rest)) for place, *rest in db.execute(_DERIVED, places))
        concluded = (
            (place, bodies.output_from(kind, body))
            for place, kind, body in db.execute(_OUTPUT, places)
        )
        found: dict[int, list[Output]] = {}
        for place, output in merge(derived, concluded, key=itemgetter(0)):
            found.setdefault(place // OUTPUTS_PER_ENTRY, []).append(output)
        return {seq: tuple(outputs) for seq, outputs in found.items()}

    def _derived(
        self, series: int, time: int, value: float, uncertainty: float | None, calibrated: int
    ) -> Derived:
        depot, name = self._series_name(series)
        return Derived(
            time=time,
            depot=depot,
            name=name,
            value=value,
            standard_uncertainty=uncertainty,
            calibrated=bool(calibrated),
        )


def _rows_from(
    db: sqlite3.Connection, low: int, last: int
) -> tuple[list[tuple[tuple[Any, ...], int]], int]:
    """The next entries of all sources, in order, with their source; and the seq they reach to."""
    found: list[tuple[tuple[Any, ...], int]] = []
    high = last
    for source, select in enumerate(_SOURCES):
        limited = f"{select} ORDER BY 1 LIMIT {_CHUNK}"
        rows = db.execute(limited, (low, high)).fetchall()
        if len(rows) == _CHUNK:
            high = rows[-1][0]
        found.extend((row, source) for row in rows)
    by_seq: Callable[[tuple[tuple[Any, ...], int]], int] = lambda pair: pair[0][0]  # noqa: E731
    return sorted((pair for pair in found if pair[0][0] <= high), key=by_seq), high


def _before_first(db: sqlite3.Connection, depot: str, last: int) -> int:
    """The seq before the service's start that came before a depot's first entry."""
    firsts = [db.execute(select, (depot,)).fetchone()[0] for select in _FIRSTS]
    known = [first for first in firsts if first is not None]
    if not known:
        return last
    select = "SELECT max(seq) FROM happening WHERE kind = 'started' AND seq < ?"
    started = db.execute(select, (min(known),)).fetchone()[0]
    return 0 if started is None else int(started) - 1
