"""The inbox (entries handed to the service) and the outbox (texts that await sending)."""

import sqlite3
from collections.abc import Sequence
from dataclasses import dataclass, fields
from typing import Any, Literal

from brineward.journal import bodies
from brineward.journal.handle import Handle
from brineward.readings.entries import Delivery, Entry
from brineward.readings.instants import Instant
from brineward.readings.outputs import Priority


@dataclass(frozen=True, slots=True, kw_only=True)
class OutboxText:
    """A text, and what has become of it so far."""

    id: str
    depot: str
    number: int
    person: str
    kind: str
    priority: Priority
    body: str
    created: Instant
    state: Literal["open", "accepted", "dead"]
    attempts: int
    next_attempt: Instant
    attempted: Instant | None
    """When it was last tried; on an open text that outcome may be unknown."""
    settled: Instant | None
    receipt: str
    why: str


_TEXT_FIELDS = tuple(field.name for field in fields(OutboxText))


def text_from_row(row: Sequence[Any]) -> OutboxText:
    """A text from its row: the table's columns have the names and the order of the fields."""
    parts = dict(zip(_TEXT_FIELDS, row, strict=True))
    return OutboxText(**parts | {"priority": Priority(parts["priority"])})


class Boxes(Handle):
    """Hand-over between the service and the others, each on its own handle."""

    def post(self, entry: Entry) -> int:
        """Hand an entry to the service; returns its number in the inbox.

        Raises: DiskTrouble, JournalUnusable.
        """
        with self._writing() as db:
            return _post(db, entry)

    def inbox(self, limit: int = 100) -> list[tuple[int, Entry]]:
        """The oldest entries that wait, with their numbers; `commit` takes them out."""
        with self._reading() as db:
            select = "SELECT id, kind, body FROM inbox ORDER BY id LIMIT ?"
            rows = db.execute(select, (limit,)).fetchall()
        return [(number, bodies.entry_from(kind, body)) for number, kind, body in rows]

    def texts_open(self, now: Instant, limit: int = 100) -> list[OutboxText]:
        """The texts that are due by now, the most pressing first."""
        select = """SELECT * FROM text WHERE state = 'open' AND next_attempt <= ?
            ORDER BY CASE priority WHEN 'high' THEN 0 WHEN 'medium' THEN 1 ELSE 2 END,
            created, id LIMIT ?"""
        with self._reading() as db:
            rows = db.execute(select, (now, limit)).fetchall()
        return [text_from_row(row) for row in rows]

    def next_text_at(self) -> Instant | None:
        """When the next text is due; None where none is open."""
        with self._reading() as db:
            select = "SELECT min(next_attempt) FROM text WHERE state = 'open'"
            found = db.execute(select).fetchone()[0]
        return None if found is None else int(found)

    def record_attempt(self, text_id: str, at: Instant) -> int:
        """Count an attempt before it is made; returns its number, from 1.

        Raises: KeyError where no open text has this id.
        """
        with self._writing() as db:
            row = db.execute(
                "UPDATE text SET attempts = attempts + 1, attempted = ?"
                " WHERE id = ? AND state = 'open' RETURNING attempts",
                (at, text_id),
            ).fetchone()
            if row is None:
                raise KeyError(text_id)
            return int(row[0])

    def record_retry(self, text_id: str, at: Instant, next_at: Instant, why: str) -> None:
        """The attempt failed; try again at `next_at`."""
        with self._writing() as db:
            db.execute(
                "UPDATE text SET attempted = ?, next_attempt = ?, why = ?"
                " WHERE id = ? AND state = 'open'",
                (at, next_at, why, text_id),
            )

    def record_accepted(self, text_id: str, at: Instant, receipt: str) -> None:
        """The gateway has taken it: the service is told in the same transaction."""
        with self._writing() as db:
            self._settle(db, text_id, at, "accepted", receipt=receipt)

    def record_dead(self, text_id: str, at: Instant, why: str) -> None:
        """It will not be tried again: the service is told in the same transaction."""
        with self._writing() as db:
            self._settle(db, text_id, at, "dead", why=why)

    def _settle(
        self,
        db: sqlite3.Connection,
        text_id: str,
        at: Instant,
        outcome: Literal["accepted", "dead"],
        *,
        receipt: str = "",
        why: str = "",
    ) -> None:
        row = db.execute(
            "UPDATE text SET state = ?, settled = ?, receipt = ?, why = ?"
            " WHERE id = ? AND state = 'open' RETURNING depot",
            (outcome, at, receipt, why, text_id),
        ).fetchone()
        if row is not None:
            _post(db, Delivery(depot=row[0], time=at, text=text_id, outcome=outcome, why=why))

    def cursor(self, name: str) -> int:
        """How far a follower has come: the last seq it has dealt with; 0 for a new one."""
        with self._reading() as db:
            row = db.execute("SELECT seq FROM cursor WHERE name = ?", (name,)).fetchone()
        return 0 if row is None else int(row[0])

    def advance(self, name: str, seq: int) -> None:
        """A follower has dealt with everything up to this seq; it never goes back."""
        with self._writing() as db:
            db.execute(
                "INSERT INTO cursor VALUES (?, ?) ON CONFLICT (name)"
                " DO UPDATE SET seq = max(seq, excluded.seq)",
                (name, seq),
            )


def _post(db: sqlite3.Connection, entry: Entry) -> int:
    row = (bodies.entry_kind(entry), bodies.entry_body(entry))
    return int(db.execute("INSERT INTO inbox (kind, body) VALUES (?, ?)", row).lastrowid or 0)
