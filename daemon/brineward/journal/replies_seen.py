"""Which replies were already handled: a gateway that got no answer hands one in again."""

from typing import Final

from brineward.journal.handle import Handle
from brineward.readings.instants import DAY, Instant

REMEMBERED: Final = 7 * DAY
"""Longer than any gateway tries again (common practice, no source)."""


class RepliesSeen:
    """Remembers replies by a key that the listener makes of them; also through a restart."""

    def __init__(self, handle: Handle) -> None:
        self._handle = handle

    def seen(self, key: str, now: Instant) -> bool:
        """Was this one remembered within the last week?"""
        with self._handle.reading() as db:
            select = "SELECT 1 FROM reply_seen WHERE key = ? AND at > ?"
            return db.execute(select, (key, now - REMEMBERED)).fetchone() is not None

    def remember(self, key: str, now: Instant) -> None:
        """Remember this one, and drop those older than a week."""
        with self._handle.writing() as db:
            db.execute("DELETE FROM reply_seen WHERE at <= ?", (now - REMEMBERED,))
            db.execute(
                "INSERT INTO reply_seen VALUES (?, ?) ON CONFLICT (key) DO UPDATE SET"
                " at = max(at, excluded.at)",
                (key, now),
            )
