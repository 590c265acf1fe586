"""The inbox: entries that others hand to the service, each through its own handle."""

import sqlite3
from typing import Any

from brineward.journal import bodies
from brineward.journal.handle import Handle
from brineward.journal.trouble import UnreadableRow
from brineward.readings.entries import Entry


class Inbox:
    """Handed over in order, and taken out by the commit that has dealt with them."""

    def __init__(self, handle: Handle) -> None:
        self._handle = handle

    def post(self, entry: Entry) -> int:
        """Hand an entry to the service; returns its number in the inbox.

        Raises: DiskTrouble, JournalUnusable.
        """
        with self._handle.writing() as db:
            return post(db, entry)

    def waiting(self, limit: int = 100) -> list[tuple[int, Entry]]:
        """The oldest entries that wait, with their numbers; `Journal.commit` takes them out.

        One that can't be read is set aside, so that it holds up nobody.

        Raises: DiskTrouble, JournalUnusable.
        """
        with self._handle.reading() as db:
            select = "SELECT id, kind, body FROM inbox ORDER BY id LIMIT ?"
            rows = db.execute(select, (limit,)).fetchall()
        found: list[tuple[int, Entry]] = []
        spoilt: list[tuple[Any, str]] = []
        for number, kind, body in rows:
            try:
                found.append((number, bodies.entry_from(kind, body)))
            except UnreadableRow as why:
                spoilt.append((number, str(why)))
        if spoilt:
            self._handle.unreadable["inbox"] += len(spoilt)
            if not self._handle.read_only:
                self._set_aside(spoilt)
        return found

    def _set_aside(self, spoilt: list[tuple[Any, str]]) -> None:
        with self._handle.writing() as db:
            for number, why in spoilt:
                db.execute(
                    "INSERT INTO set_aside (source, kind, body, why)"
                    " SELECT 'inbox', kind, body, ? FROM inbox WHERE id = ?",
                    (why, number),
                )
                db.execute("DELETE FROM inbox WHERE id = ?", (number,))


def post(db: sqlite3.Connection, entry: Entry) -> int:
    """Put an entry into the inbox, inside a write transaction; its number."""
    row = (bodies.entry_kind(entry), bodies.entry_body(entry))
    return int(db.execute("INSERT INTO inbox (kind, body) VALUES (?, ?)", row).lastrowid or 0)
