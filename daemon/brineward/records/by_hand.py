"""What people entered by hand: every record with its number, and which ones still count."""

from collections.abc import Sequence
from dataclasses import dataclass
from typing import cast

from brineward.journal import bodies
from brineward.journal.handle import Connection, Handle
from brineward.journal.trouble import UnreadableRow
from brineward.readings.by_hand import Struck
from brineward.readings.entries import HandRecord
from brineward.readings.instants import Instant
from brineward.records.ever import NEVER


@dataclass(frozen=True, slots=True, kw_only=True)
class HandEntry:
    """One record, with the number that people call it by."""

    number: int
    """Counted in its depot, from 1, in the order in which the service took them."""
    entry: HandRecord
    replaced_by: int = 0
    """The number of the record that took its place; 0: it holds."""

    @property
    def holds(self) -> bool:
        """Does it count? Not one that was corrected, nor one that strikes another."""
        return not self.replaced_by and not isinstance(self.entry.record, Struck)


def numbered(entries: Sequence[HandRecord | None]) -> list[HandEntry]:
    """A depot's records from its first on, each with its number and what replaced it.

    None takes the place of one that can't be read any more: it keeps its number, so that the others
    keep theirs. If two people corrected the same record, the later correction replaces the earlier
    one, so that only one of each counts.
    """
    replaced: dict[int, int] = {}
    for number, entry in enumerate(entries, 1):
        if entry is None or not 0 < entry.corrects < number:
            continue
        newest = entry.corrects
        while newest in replaced:
            newest = replaced[newest]
        replaced[newest] = number
    return [
        HandEntry(number=number, entry=entry, replaced_by=replaced.get(number, 0))
        for number, entry in enumerate(entries, 1)
        if entry is not None
    ]


class HandRecords:
    """Records by hand of a depot."""

    def __init__(self, handle: Handle) -> None:
        self._handle = handle

    def everything(self, depot: str) -> list[HandEntry]:
        """All that was ever entered, corrected ones and corrections too, in order of entry."""
        with self._handle.reading() as db:
            return numbered(self._taken(db, depot))

    def with_waiting(self, db: Connection, depot: str) -> list[HandEntry]:
        """The same with those that the service has not processed yet, in the open transaction.

        Whoever enters the next one in that transaction knows its number.
        """
        rows = db.execute("SELECT kind, body FROM inbox WHERE kind = 'record' ORDER BY id")
        waiting = [self._made(row) for row in rows]
        mine = [entry for entry in waiting if entry is not None and entry.depot == depot]
        return numbered([*self._taken(db, depot), *mine])

    def between(self, depot: str, start: Instant = 0, end: Instant = NEVER) -> list[HandEntry]:
        """Those that hold and are about what was done from `start` to before `end`, in that
        order."""
        found = [one for one in self.everything(depot) if one.holds and start <= one.entry.at < end]
        return sorted(found, key=lambda one: one.entry.at)

    def _taken(self, db: Connection, depot: str) -> list[HandRecord | None]:
        select = """SELECT kind, body FROM happening WHERE kind = 'record' AND depot = ?
            ORDER BY seq"""
        return [self._made(row) for row in db.execute(select, (depot,))]

    def _made(self, row: tuple[str, str]) -> HandRecord | None:
        try:
            return cast(HandRecord, bodies.entry_from(*row))
        except UnreadableRow:
            self._handle.unreadable["happening"] += 1
            return None
