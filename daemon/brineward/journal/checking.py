"""Is the file still whole? It is read through bit by bit while the service runs."""

from dataclasses import dataclass
from typing import Final

from brineward.journal.handle import Handle
from brineward.journal.opening import check_whole
from brineward.journal.ordering import Ordering

_SMALL: Final = (
    "progress", "identity", "series", "mark", "refusal_kept", "tally", "alarm", "episode", "given",
    "snapshot", "inbox", "text", "cursor", "service", "set_aside", "reply_seen", "hour",
)  # fmt: skip
"""Tables that are checked as a whole, each in its turn; the others in order of their seq."""


@dataclass(frozen=True, slots=True, kw_only=True)
class Checked:
    """What a check of one share of the file found."""

    next_share: int
    """Which share comes after this one; back to 0 after the last."""
    unreadable: int
    """Rows in it that can't be read."""


class Checking:
    """Reads the journal in shares: entries and outputs by their seq, one series' index, and one
    of the small tables."""

    def __init__(self, handle: Handle, ordering: Ordering) -> None:
        self._handle = handle
        self._ordering = ordering

    def check_share(self, share: int, of: int) -> Checked:
        """Check one share of the file, by its number from 0, out of this many.

        It finds a page that can't be read, but not a value in it that a fault of the disk has
        changed into another, since SQLite keeps no checksum of its pages.
        Raises: JournalDamaged, DiskTrouble.
        """
        before = sum(self._handle.unreadable.values())
        last = self._ordering.last_seq()
        low, high = last * share // of + 1, last * (share + 1) // of
        for _ in self._ordering.steps(low, high):
            pass
        self._check_index(share)
        stride = min(of, len(_SMALL))
        for table in _SMALL[share % stride :: stride]:
            with self._handle.reading() as db:
                check_whole(db, self._handle.path, table)
        unreadable = sum(self._handle.unreadable.values()) - before
        return Checked(next_share=(share + 1) % of, unreadable=unreadable)

    def _check_index(self, share: int) -> None:
        with self._handle.reading() as db:
            series = [row[0] for row in db.execute("SELECT id FROM series ORDER BY id")]
            if series:
                number = series[share % len(series)]
                for table in ("reading", "derived", "second_reading"):
                    count = f"SELECT count(time) FROM {table} WHERE series = ?"  # noqa: S608 - our own table names
                    db.execute(count, (number,)).fetchone()
