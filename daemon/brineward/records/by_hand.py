"""What people entered by hand: every record with its number, and which still holds."""

from collections.abc import Sequence
from dataclasses import dataclass
from typing import cast

from brineward.journal import bodies
from brineward.journal.handle import Handle
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


def numbered(entries: Sequence[HandRecord]) -> list[HandEntry]:
    """A depot's records from its first on, each with its number and what took its place."""
    replaced: dict[int, int] = {}
    for number, entry in enumerate(entries, 1):
        if 0 < entry.corrects < number:
            replaced[entry.corrects] = number
    return [
        HandEntry(number=number, entry=entry, replaced_by=replaced.get(number, 0))
        for number, entry in enumerate(entries, 1)
    ]


class HandRecords:
    """Records by hand of a depot."""

    def __init__(self, handle: Handle) -> None:
        self._handle = handle

    def everything(self, depot: str) -> list[HandEntry]:
        """All that was ever entered, corrected ones and corrections too, in order of entry."""
        select = """SELECT kind, body FROM happening WHERE kind = 'record' AND depot = ?
            ORDER BY seq"""
        with self._handle.reading() as db:
            rows = db.execute(select, (depot,)).fetchall()
        made = self._handle.readable("happening", rows, lambda row: bodies.entry_from(*row))
        return numbered([cast(HandRecord, entry) for entry in made])

    def between(self, depot: str, start: Instant = 0, end: Instant = NEVER) -> list[HandEntry]:
        """Those that hold and are about what was done from `start` to before `end`, in that
        order."""
        found = [one for one in self.everything(depot) if one.holds and start <= one.entry.at < end]
        return sorted(found, key=lambda one: one.entry.at)
