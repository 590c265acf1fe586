"""Entries and outputs in the order of processing: for a replay, and for resuming."""

import sqlite3
from collections.abc import Callable, Iterable, Iterator
from heapq import merge
from operator import itemgetter
from typing import Any, Final, NamedTuple

from brineward.journal import bodies, episodes
from brineward.journal.handle import Handle
from brineward.journal.rows import DERIVED, READING, derived_from_row, reading_from_row
from brineward.journal.schema import OUTPUTS_PER_ENTRY
from brineward.journal.trouble import UnreadableRow
from brineward.readings.entries import Entry
from brineward.readings.outputs import Output
from brineward.readings.values import Refusal

_CHUNK: Final = 5_000  # so many entries in one look, so that a long replay never pins the WAL

_Row = tuple[Any, ...]
_FromSource = tuple[_Row, int]
"""A row and which of the sources it came from."""

_READINGS = f"SELECT seq, {READING} FROM {{}} WHERE seq BETWEEN ? AND ?"  # noqa: S608 - our own names
_TABLES: Final = ("reading", "second_reading", "refusal", "happening")
_SOURCES: Final = (
    _READINGS.format("reading"),
    _READINGS.format("second_reading"),
    """SELECT seq, refusal.series, received, reason, sentence, topic, payload
       FROM refusal LEFT JOIN refusal_kept USING (seq) WHERE refusal.seq BETWEEN ? AND ?""",
    "SELECT seq, kind, body FROM happening WHERE seq BETWEEN ? AND ?",
)
_DERIVED: Final = f"SELECT place, {DERIVED} FROM derived WHERE place BETWEEN ? AND ? ORDER BY place"  # noqa: S608 - as above
_OUTPUT: Final = "SELECT place, kind, body FROM output WHERE place BETWEEN ? AND ? ORDER BY place"


class Placed(NamedTuple):
    """A step as the journal holds it, with its place in the order."""

    seq: int
    entry: Entry
    outputs: tuple[Output, ...]


class Ordering:
    """Reading the journal in the order in which the engine took it."""

    def __init__(self, handle: Handle) -> None:
        self._handle = handle

    def last_seq(self) -> int:
        """The seq of the last entry that was committed; 0 in a new journal."""
        with self._handle.reading() as db:
            return int(db.execute("SELECT last_seq FROM progress").fetchone()[0])

    def second_values(self, from_seq: int, to_seq: int) -> dict[int, bool]:
        """Of which entries, from a seq to another, sensor and time were taken already; and is it
        another value? (Else it is the same reading come twice.)"""
        select = "SELECT seq, conflict FROM second_reading WHERE seq BETWEEN ? AND ?"
        with self._handle.reading() as db:
            return {seq: bool(other) for seq, other in db.execute(select, (from_seq, to_seq))}

    def entries(self, from_seq: int = 0) -> Iterator[Entry]:
        """Every entry from this seq on, in the order of processing, up to the last one now."""
        return map(itemgetter(1), self.steps(from_seq, with_outputs=False))

    def outputs(self, from_seq: int = 0) -> Iterator[tuple[int, tuple[Output, ...]]]:
        """The outputs of each entry that had some, with its seq, in order."""
        return ((step.seq, step.outputs) for step in self.steps(from_seq) if step.outputs)

    def steps(
        self, from_seq: int = 0, to_seq: int | None = None, *, with_outputs: bool = True
    ) -> Iterator[Placed]:
        """Every step from this seq on, in order, up to the last one now; read in short reads.

        What was thinned out is not included any more, nor what was concluded from it; alarm
        changes, episodes and texts can then still be found by depot and time. A row that can't be
        read is passed over and counted in `Journal.unreadable`.

        Raises: DiskTrouble, JournalUnusable.
        """
        last = self.last_seq() if to_seq is None else min(to_seq, self.last_seq())
        low = from_seq
        while low <= last:
            with self._handle.reading() as db:
                rows, high = _rows_from(db, low, last)
                outputs = self._outputs_between(db, low, high) if with_outputs else {}
                placed = [
                    Placed(seq, entry, outputs.get(seq, ())) for seq, entry in self._entries(rows)
                ]
            yield from placed
            low = high + 1

    def _entries(self, rows: Iterable[_FromSource]) -> Iterator[tuple[int, Entry]]:
        for row, source in rows:
            try:
                entry = self._entry(source, row)
            except UnreadableRow:
                self._handle.unreadable[_TABLES[source]] += 1
            else:
                yield row[0], entry

    def _entry(self, source: int, row: tuple[Any, ...]) -> Entry:
        if source <= 1:
            return reading_from_row(self._handle.names, row[1:])
        if source == 2:
            _, series, received, reason, sentence, topic, payload = row
            depot, sensor = self._handle.names.series_name(series)
            return Refusal(
                depot, sensor, received, reason, sentence or "", topic or "", bytes(payload or b"")
            )
        return bodies.entry_from(row[1], row[2])

    def _outputs_between(
        self, db: sqlite3.Connection, low: int, high: int
    ) -> dict[int, tuple[Output, ...]]:
        places = (low * OUTPUTS_PER_ENTRY, (high + 1) * OUTPUTS_PER_ENTRY - 1)
        sources = (
            self._handle.readable(table, db.execute(select, places), self._placed(made))
            for table, select, made in (
                ("derived", _DERIVED, lambda row: derived_from_row(self._handle.names, row[1:])),
                ("episode_change", episodes.BETWEEN, episodes.change_from),
                ("output", _OUTPUT, lambda row: bodies.output_from(row[1], row[2])),
            )
        )
        found: dict[int, list[Output]] = {}
        for place, output in merge(*sources, key=itemgetter(0)):
            found.setdefault(place // OUTPUTS_PER_ENTRY, []).append(output)
        return {seq: tuple(outputs) for seq, outputs in found.items()}

    @staticmethod
    def _placed(made: Callable[[_Row], Output]) -> Callable[[_Row], tuple[int, Output]]:
        return lambda row: (row[0], made(row))


def _rows_from(db: sqlite3.Connection, low: int, last: int) -> tuple[list[_FromSource], int]:
    """The next entries of all sources, in order, with their source; and the seq they reach to."""
    found: list[_FromSource] = []
    high = last
    for source, select in enumerate(_SOURCES):
        limited = f"{select} ORDER BY 1 LIMIT {_CHUNK}"
        rows = db.execute(limited, (low, high)).fetchall()
        if len(rows) == _CHUNK:
            high = rows[-1][0]
        found.extend((row, source) for row in rows)
    return sorted((pair for pair in found if pair[0][0] <= high), key=_seq_of), high


def _seq_of(pair: _FromSource) -> int:
    """The journal's number of a row, which comes first in it."""
    seq: int = pair[0][0]
    return seq
