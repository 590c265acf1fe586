"""The outbox: texts that wait to be sent, and what became of them."""

import sqlite3
from collections.abc import Callable, Sequence
from dataclasses import dataclass, fields
from typing import Any, Final, Literal

from brineward.journal import bodies
from brineward.journal.handle import Handle
from brineward.journal.inbox import post
from brineward.journal.trouble import DiskTrouble, JournalUnusable, UnreadableRow
from brineward.readings.entries import Delivery
from brineward.readings.instants import DAY, Instant
from brineward.readings.outputs import Notice, NoticeKind, Priority, TextDue

REPLAYED: Final = "replayed: nobody is texted"
"""Why the texts of a replayed run were never sent."""


@dataclass(frozen=True, slots=True, kw_only=True)
class OutboxText:
    """A text, and what has become of it so far."""

    id: str
    depot: str
    number: int
    """The occurrence that it is about; 0 for none."""
    person: str
    kind: NoticeKind
    priority: Priority
    notice: Notice
    created: Instant
    state: Literal["open", "accepted", "dead"]
    attempts: int
    next_attempt: Instant
    attempted: Instant | None
    """When it was last tried; on an open text that outcome may be unknown."""
    settled: Instant | None
    receipt: str
    why: str
    way: int
    """Which of its person's channels is next, from 0."""
    known_as: str
    """What a receipt will call it, while one is awaited until `next_attempt`; else empty."""
    key: str
    """For a gateway that drops repeats: the same on every attempt, and never that of a text from
    another journal, or from this one before a backup was put back."""


_TEXT_FIELDS = tuple(field.name for field in fields(OutboxText) if field.name != "key")
SELECT_TEXTS: Final = f"SELECT {', '.join(_TEXT_FIELDS)}, (SELECT mark FROM identity) FROM text"  # noqa: S608 - our own field names
"""Selects texts, as `text_from_row` takes them."""


def text_from_row(row: Sequence[Any]) -> OutboxText:
    """A text from its row. Raises: UnreadableRow."""
    *columns, mark = row
    parts = dict(zip(_TEXT_FIELDS, columns, strict=True))
    try:
        priority = Priority(parts["priority"])
        key = _key(mark, parts["created"], parts["id"])
    except (ValueError, TypeError) as why:
        raise UnreadableRow(str(why)) from why
    notice = bodies.notice_from(parts["notice"])
    awaited = parts["known_as"].partition(_PASSED)[0]
    read = {"priority": priority, "notice": notice, "known_as": awaited}
    return OutboxText(**parts | read, key=key)


def _key(mark: str, created: Instant, text_id: str) -> str:
    """With its time: an id is given again where its text left, but the record was never kept."""
    return f"{mark}-{created:x}-{text_id}"


_RECEIPTS_COME_WITHIN: Final = 7 * DAY
"""By a way that was given up; gateways try for three days at most (common practice, no source)."""
_PASSED: Final = "\n"
"""In the records a text's names stand one a line, the newest first. Where a line end comes first,
none is awaited: its way was given up, and its receipt may still come."""


class Outbox:
    """What the outbox follower works from, through its own handle."""

    refusals: tuple[type[Exception], ...] = (DiskTrouble, JournalUnusable)
    """What it raises where the disk or the file refuses, whatever was to be recorded."""

    def __init__(self, handle: Handle) -> None:
        self._handle = handle

    def close(self) -> None:
        """Let go of the file; the journal that this belongs to is closed with it."""
        self._handle.close()

    def key_of(self) -> Callable[[TextDue], str]:
        """What gives the key that a text has once it is kept; for any thread.

        Raises: DiskTrouble, JournalUnusable.
        """
        with self._handle.reading() as db:
            mark = str(db.execute("SELECT mark FROM identity").fetchone()[0])
        return lambda due: _key(mark, due.time, due.id)

    def texts_open(self, now: Instant, limit: int = 100) -> list[OutboxText]:
        """The texts that are due by now, the most pressing first.

        One that can't be read any more is a dead letter: the service hears of it and wakes others.

        Raises: DiskTrouble, JournalUnusable.
        """
        select = f"""{SELECT_TEXTS} WHERE state = 'open' AND next_attempt <= ?
            ORDER BY CASE priority WHEN 'high' THEN 0 WHEN 'medium' THEN 1 ELSE 2 END,
            created, id LIMIT ?"""
        with self._handle.reading() as db:
            rows = db.execute(select, (now, limit)).fetchall()
        found: list[OutboxText] = []
        for row in rows:
            try:
                found.append(text_from_row(row))
            except UnreadableRow as why:
                self._handle.unreadable["text"] += 1
                self.record_dead(row[0], now, f"its record can't be read any more: {why}")
        return found

    def next_text_at(self) -> Instant | None:
        """When the next text is due; None if none is open."""
        with self._handle.reading() as db:
            select = "SELECT min(next_attempt) FROM text WHERE state = 'open'"
            found = db.execute(select).fetchone()[0]
        return None if found is None else int(found)

    def record_attempt(self, text_id: str, at: Instant) -> int:
        """Count an attempt before it is made; returns its number, from 1.

        Raises: KeyError where no open text has this id.
        """
        with self._handle.writing() as db:
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
        with self._handle.writing() as db:
            db.execute(
                "UPDATE text SET attempted = ?, next_attempt = ?, why = ?"
                " WHERE id = ? AND state = 'open'",
                (at, next_at, why, text_id),
            )

    def record_way(self, text_id: str, at: Instant, next_at: Instant, way: int, why: str) -> None:
        """This way failed: from `next_at` on the channel at that place is tried."""
        with self._handle.writing() as db:
            db.execute(
                "UPDATE text SET attempted = ?, next_attempt = ?, way = ?, why = ?, known_as ="
                " iif(known_as = '', '', ? || ltrim(known_as, ?)) WHERE id = ? AND state = 'open'",
                (at, next_at, way, why, _PASSED, _PASSED, text_id),
            )

    def record_sent(
        self, text_id: str, at: Instant, until: Instant, known_as: str, receipt: str
    ) -> None:
        """The gateway has taken it; whether it delivers it is awaited until then."""
        with self._handle.writing() as db:
            db.execute(
                "UPDATE text SET attempted = ?, next_attempt = ?, receipt = ?, why = '', known_as ="
                " ? || iif(known_as = '', '', ? || ltrim(known_as, ?))"
                " WHERE id = ? AND state = 'open'",
                (at, until, receipt, known_as, _PASSED, _PASSED, text_id),
            )

    def record_receipt(self, known_as: str, at: Instant, *, delivered: bool, words: str) -> bool:
        """Record a receipt: a delivered text is settled, one that failed is due by its next way.

        This includes a receipt for a way that was given up meanwhile: what that way delivered is
        not sent by another, and if the text had been given up altogether, its person was reached
        after all. If it reports a failure, that is known already by then. Returns whether a text is
        known by this receipt, open or settled.
        """
        with self._handle.writing() as db:
            row = _named(db, known_as, at)
            if row is None:
                return False
            text_id, names = row
            if delivered:
                _settle(db, text_id, at, "accepted", receipt=words, given_up=True)
            elif names.partition(_PASSED)[0] == known_as:
                db.execute(
                    "UPDATE text SET next_attempt = ?, why = ? WHERE id = ? AND state = 'open'",
                    (at, words, text_id),
                )
            return True

    def record_accepted(self, text_id: str, at: Instant, receipt: str) -> None:
        """The gateway has taken it: posted to the service in the same transaction."""
        with self._handle.writing() as db:
            _settle(db, text_id, at, "accepted", receipt=receipt)

    def record_dead(self, text_id: str, at: Instant, why: str) -> None:
        """It will not be tried again: posted to the service in the same transaction."""
        with self._handle.writing() as db:
            _settle(db, text_id, at, "dead", why=why)

    def close_open(self, why: str) -> None:
        """None of the texts that are still open will ever be sent; nobody hears of it."""
        with self._handle.writing() as db:
            db.execute(
                "UPDATE text SET state = 'dead', settled = created, why = ? WHERE state = 'open'",
                (why,),
            )


def _named(db: sqlite3.Connection, known_as: str, now: Instant) -> tuple[str, str] | None:
    """The id of the newest text that a receipt names, and all its names."""
    exact = "SELECT id, known_as FROM text WHERE known_as <> '' AND known_as = ?"
    row = db.execute(f"{exact} ORDER BY created DESC", (known_as,)).fetchone()
    if row is None:
        among = "SELECT id, known_as FROM text WHERE created > ? AND instr(? || known_as || ?, ?)"
        line = f"{_PASSED}{known_as}{_PASSED}"
        values = (now - _RECEIPTS_COME_WITHIN, _PASSED, _PASSED, line)
        row = db.execute(f"{among} ORDER BY created DESC", values).fetchone()
    return None if row is None else (str(row[0]), str(row[1]))


def _settle(
    db: sqlite3.Connection,
    text_id: str,
    at: Instant,
    outcome: Literal["accepted", "dead"],
    *,
    receipt: str = "",
    why: str = "",
    given_up: bool = False,
) -> None:
    """Settle an open text, or one that was `given_up`."""
    row = db.execute(
        "UPDATE text SET state = ?, settled = ?, receipt = ?, why = ?"
        " WHERE id = ? AND state IN ('open', ?) RETURNING depot, number, person",
        (outcome, at, receipt, why, text_id, "dead" if given_up else "open"),
    ).fetchone()
    if row is None:
        return
    depot, number, person = row
    delivery = Delivery(
        depot=depot,
        time=at,
        text=text_id,
        number=number,
        person=person,
        outcome=outcome,
        why=why,
    )
    post(db, delivery)
