"""How far each follower of the journal has come."""

from collections.abc import Mapping

from brineward.journal.handle import Handle


class Cursors:
    """One position a follower, by its name."""

    def __init__(self, handle: Handle) -> None:
        self._handle = handle

    def at(self, name: str) -> int:
        """The last seq that a follower has dealt with; 0 for a new one."""
        with self._handle.reading() as db:
            row = db.execute("SELECT seq FROM cursor WHERE name = ?", (name,)).fetchone()
        return 0 if row is None else int(row[0])

    def advance(self, name: str, seq: int) -> None:
        """A follower has dealt with everything up to this seq; it never goes back."""
        with self._handle.writing() as db:
            db.execute(
                "INSERT INTO cursor VALUES (?, ?) ON CONFLICT (name)"
                " DO UPDATE SET seq = max(seq, excluded.seq)",
                (name, seq),
            )

    def put(self, positions: Mapping[str, int]) -> None:
        """Followers are at these seqs, which may lie before those that they were at."""
        with self._handle.writing() as db:
            db.executemany(
                "INSERT INTO cursor VALUES (?, ?) ON CONFLICT (name) DO UPDATE SET"
                " seq = excluded.seq",
                positions.items(),
            )
