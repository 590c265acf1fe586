"""What the engine needs in order to resume after a stop."""

import sqlite3
from collections.abc import Collection, Iterator, Mapping
from dataclasses import dataclass
from typing import Final

from brineward.journal.active_alarms import ActiveAlarm, alarms_active
from brineward.journal.handle import Handle
from brineward.journal.ordering import Ordering, Placed
from brineward.journal.trouble import UnreadableRow

_FIRSTS: Final = (
    "SELECT min(seq) FROM reading WHERE series IN (SELECT id FROM series WHERE depot = ?)",
    "SELECT min(seq) FROM refusal WHERE series IN (SELECT id FROM series WHERE depot = ?)",
    "SELECT min(seq) FROM happening WHERE depot = ?",
)


@dataclass(frozen=True, slots=True, kw_only=True)
class Resumed:
    """What the engine resumes from: its last states, and what was committed after them."""

    states: Mapping[str, bytes]
    """The last state of each depot that has one."""
    after: Mapping[str, int]
    """For every depot asked about: the seq that its state already knows; 0 for none."""
    tail: Iterator[Placed]
    """The steps after the oldest of these, in order; outputs are what was concluded then."""

    def concerns(self, depot: str, placed: Placed) -> bool:
        """Is this entry one that the depot's state doesn't know yet?"""
        own = getattr(placed.entry, "depot", depot)
        return own == depot and placed.seq > self.after[depot]


class Resuming:
    """Looked at once, at the start."""

    def __init__(self, handle: Handle, ordering: Ordering) -> None:
        self._handle = handle
        self._ordering = ordering

    def resume(self, depots: Collection[str]) -> Resumed:
        """The last states of these depots and the steps since the oldest of them.

        A depot that has no state yet begins at the service's start before its first entry, and so
        does one whose state can't be read; one that the journal has never heard of does not
        lengthen the tail.

        Raises: DiskTrouble, JournalUnusable.
        """
        states: dict[str, bytes] = {}
        after: dict[str, int] = {}
        with self._handle.reading() as db:
            last = int(db.execute("SELECT last_seq FROM progress").fetchone()[0])
            for depot in depots:
                select = "SELECT seq, state FROM snapshot WHERE depot = ?"
                rows = db.execute(select, (depot,)).fetchall()
                found = list(self._handle.readable("snapshot", rows, _snapshot))
                if found:
                    after[depot], states[depot] = found[0]
                else:
                    after[depot] = _before_first(db, depot, last)
        first = min(after.values(), default=last) + 1
        return Resumed(states=states, after=after, tail=self._ordering.steps(first))

    def last_numbers(self, depot: str) -> tuple[int, int]:
        """The highest number of an occurrence of a depot, and how many texts were about none."""
        with self._handle.reading() as db:
            select = "SELECT number, letters FROM given WHERE depot = ?"
            row = db.execute(select, (depot,)).fetchone()
        return (0, 0) if row is None else (int(row[0]), int(row[1]))

    def records_up_to(self, depot: str, seq: int) -> int:
        """How many records by hand a depot had up to a seq."""
        select = "SELECT count(*) FROM happening WHERE kind = 'record' AND depot = ? AND seq <= ?"
        with self._handle.reading() as db:
            return int(db.execute(select, (depot, seq)).fetchone()[0])

    def alarms_active(self) -> list[ActiveAlarm]:
        """Every alarm that is not normal, also of depots that are no longer in the config."""
        return alarms_active(self._handle)


def _snapshot(row: tuple[object, object]) -> tuple[int, bytes]:
    seq, state = row
    if not isinstance(seq, int) or not isinstance(state, bytes):
        raise UnreadableRow("this is no state of an engine")
    return seq, state


def _before_first(db: sqlite3.Connection, depot: str, last: int) -> int:
    """The seq before the service's start that came before a depot's first entry."""
    firsts = [db.execute(select, (depot,)).fetchone()[0] for select in _FIRSTS]
    known = [first for first in firsts if first is not None]
    if not known:
        return last
    select = "SELECT max(seq) FROM happening WHERE kind = 'started' AND seq < ?"
    started = db.execute(select, (min(known),)).fetchone()[0]
    return 0 if started is None else int(started) - 1
