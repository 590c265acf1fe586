"""Points that an export's server refused: stored with the server's words, and counted."""

from collections.abc import Mapping
from typing import Final

from brineward.journal.handle import Handle

POINTS_KEPT: Final = 10_000
"""How many points of an export are kept whole; of older ones only the count is kept."""

_KIND: Final = "point"
_SAID: Final = "export delayed"


class Asides:
    """Points that were set aside, by the name of their export."""

    def __init__(self, handle: Handle) -> None:
        self._handle = handle

    def put(self, export: str, points: Mapping[str, str]) -> None:
        """Keep points with the reason of each; one that is kept already changes nothing.

        Raises: DiskTrouble, JournalUnusable.
        """
        with self._handle.writing() as db:
            kept = {
                body
                for (body,) in db.execute(
                    "SELECT body FROM set_aside WHERE kind = ? AND source = ?", (_KIND, export)
                )
            }
            fresh = [(export, _KIND, *one) for one in points.items() if one[0] not in kept]
            db.executemany(
                "INSERT INTO set_aside (source, kind, body, why) VALUES (?, ?, ?, ?)", fresh
            )
            db.execute(
                "INSERT INTO cursor VALUES (?, ?) ON CONFLICT (name)"
                " DO UPDATE SET seq = seq + excluded.seq",
                (_counter(export), len(fresh)),
            )
            db.execute(
                """DELETE FROM set_aside WHERE kind = ?1 AND source = ?2 AND id <= (
                    SELECT id FROM set_aside WHERE kind = ?1 AND source = ?2
                    ORDER BY id DESC LIMIT 1 OFFSET ?3)""",
                (_KIND, export, POINTS_KEPT),
            )

    def count(self, export: str) -> int:
        """How many points were ever set aside. Raises: DiskTrouble, JournalUnusable."""
        with self._handle.reading() as db:
            row = db.execute(
                "SELECT seq FROM cursor WHERE name = ?", (_counter(export),)
            ).fetchone()
        return 0 if row is None else int(row[0])

    def newest(self, export: str, limit: int = 100) -> list[tuple[str, str]]:
        """The last points with the reason of each, the newest first.

        Raises: DiskTrouble, JournalUnusable.
        """
        with self._handle.reading() as db:
            return db.execute(
                "SELECT body, why FROM set_aside WHERE kind = ? AND source = ?"
                " ORDER BY id DESC LIMIT ?",
                (_KIND, export, limit),
            ).fetchall()

    def say(self, export: str, sentence: str) -> None:
        """Keep why nothing is taken at present; empty: all is well.

        Raises: DiskTrouble, JournalUnusable.
        """
        with self._handle.writing() as db:
            db.execute("DELETE FROM set_aside WHERE kind = ? AND source = ?", (_SAID, export))
            if sentence:
                db.execute(
                    "INSERT INTO set_aside (source, kind, body, why) VALUES (?, ?, '', ?)",
                    (export, _SAID, sentence),
                )

    def said(self, export: str) -> str:
        """Why nothing is taken at present; empty where all is well.

        Raises: DiskTrouble, JournalUnusable.
        """
        with self._handle.reading() as db:
            row = db.execute(
                "SELECT why FROM set_aside WHERE kind = ? AND source = ?", (_SAID, export)
            ).fetchone()
        return "" if row is None else str(row[0])


def _counter(export: str) -> str:
    return f"{export} set aside"
