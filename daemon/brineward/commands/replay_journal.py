"""A journal as a recorded run: what arrived, in the order in which the service took it."""

from collections.abc import Iterator
from pathlib import Path

from brineward.decode.recorded import UnreadableRecording
from brineward.readings.entries import Entry
from brineward.readings.values import Reading

_SQLITE = b"SQLite format 3\x00"


def is_journal(path: Path) -> bool:
    """Is this file a journal, by its first bytes?"""
    try:
        with path.open("rb") as file:
            return file.read(len(_SQLITE)) == _SQLITE
    except OSError:
        return False


class JournalRun:
    """A journal's entries, to be iterated once. What was thinned is no longer among them."""

    def __init__(self, path: Path) -> None:
        self._path = path
        self.problems: list[str] = []
        """What could not be read, a sentence each."""
        self.refused = 0
        self.readings = 0
        self.bytes_read = 0

    def __iter__(self) -> Iterator[Entry]:
        """Every entry in its order; the journal may be in use meanwhile.

        Raises: UnreadableRecording where the file is not a journal that can be read.
        """
        # Here, since a replay of a file opens no journal, and starts sooner without it.
        from brineward.journal import (  # noqa: PLC0415 - a file opens none
            DiskTrouble,
            Journal,
            JournalUnusable,
        )

        try:
            with Journal.open(self._path, read_only=True) as journal:
                size, last = self._path.stat().st_size, journal.ordering.last_seq()
                for count, entry in enumerate(journal.ordering.entries(), 1):
                    self.readings += type(entry) is Reading
                    self.bytes_read = size * min(count, last) // max(last, 1)
                    yield entry
                for table, rows in journal.unreadable.items():
                    self.refused += rows
                    self.problems.append(f"{rows:,} rows of the table {table} can't be read")
        except (DiskTrouble, JournalUnusable) as why:
            raise UnreadableRecording(str(why)) from why
