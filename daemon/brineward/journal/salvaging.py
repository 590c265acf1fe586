"""Saves what can be read of a damaged journal into a new one, so that the watch goes on."""

import sqlite3
from collections.abc import Mapping
from dataclasses import dataclass
from pathlib import Path

from brineward.journal import opening, schema
from brineward.journal.bodies import alarm_from
from brineward.journal.concluding import store_alarm
from brineward.journal.journal import Journal
from brineward.journal.opening import ServiceLock, beside, found_at
from brineward.journal.replacing import close_alone, draw_mark, name_aside, put_in_place, remove
from brineward.journal.rescue import rescued
from brineward.journal.trouble import (
    DATABASE_ERRORS,
    DiskTrouble,
    JournalDamaged,
    UnreadableRow,
    watched,
)
from brineward.readings.instants import Instant


@dataclass(frozen=True, slots=True, kw_only=True)
class Salvaged:
    """What came of a damaged journal."""

    set_aside: Path
    """The damaged file, as it was."""
    kept: int
    """Rows that could be read."""
    damaged: Mapping[str, int]
    """Tables in which some could not, and how many rows are left of each."""
    why: str
    """What the check found."""

    @property
    def sentence(self) -> str:
        """What is reported to people."""
        saved = f"the journal was damaged: {self.kept:,} rows are saved"
        if not self.kept:
            saved = "the journal was damaged, and nothing of it could be saved"
        elif self.damaged:
            saved += f", some are lost ({_named(list(self.damaged))})"
        return f"{saved}; the damaged file is {self.set_aside.name}"


def _named(tables: list[str]) -> str:
    """Their names, as far as a person reads them in a text message."""
    if len(tables) <= _MOST_NAMED + 1:
        return ", ".join(tables)
    return f"{', '.join(tables[:_MOST_NAMED])} and {len(tables) - _MOST_NAMED} more"


_MOST_NAMED = 3


def open_or_salvage(path: Path, now: Instant) -> tuple[Journal, Salvaged | None]:
    """Open the journal for a service, checked; a damaged one is first replaced by what it holds.

    The damaged file is set aside beside the journal under its own name. If damage was found while a
    program worked with it, the check is the thorough one.

    Raises: JournalUnusable if the file is another program's, newer, or in use by another service;
    DiskTrouble if the disk refuses, also if it has no room for the new file.
    """
    path = found_at(path)
    lock = ServiceLock(path)
    try:
        journal, report = _whole_or_salvaged(path, lock, now)
    except BaseException:
        lock.release()
        raise
    opening.clear(path)
    return journal, report


def _whole_or_salvaged(
    path: Path, lock: ServiceLock, now: Instant
) -> tuple[Journal, Salvaged | None]:
    try:
        return _opened(path, lock, thoroughly=opening.is_suspect(path)), None
    except JournalDamaged as damage:
        report = _salvage(path, str(damage), now)
    return _opened(path, lock, thoroughly=False), report


def _opened(path: Path, lock: ServiceLock, *, thoroughly: bool) -> Journal:
    return Journal.open_locked(path, lock, check=True, thoroughly=thoroughly)


def _salvage(path: Path, why: str, now: Instant) -> Salvaged:
    new = beside(path, ".salvaged")
    try:
        try:
            kept = _saved_into(new, path)
        except DiskTrouble as trouble:
            if not trouble.full:
                raise
            # No room for a second file: the watch goes on with an empty one.
            kept = _saved_into(new, None)
        aside = put_in_place(new, path, name_aside(path, "damaged", now))
    except BaseException:
        remove(new)
        raise
    return Salvaged(
        set_aside=aside or path,
        kept=sum(count for count, _ in kept.values()),
        damaged={table: count for table, (count, whole) in kept.items() if not whole},
        why=why,
    )


def _saved_into(new: Path, path: Path | None) -> dict[str, tuple[int, bool]]:
    """Make a new journal of what can be read of one, or an empty one.

    Of each table how many rows it has, and whether that is all of them.
    """
    remove(new)
    kept = {} if path is None else _copied(path, new)
    with watched(new):
        db = opening.connect_to_write(new)
        try:
            db.execute("BEGIN IMMEDIATE")
            for statement in _FOLLOWING:
                db.execute(statement)
            if not kept.get("alarm", (0, True))[1]:
                _alarms_from_outputs(db)
            draw_mark(db)
            db.execute("COMMIT")
            close_alone(db)
        finally:
            db.close()
    return kept


def _copied(path: Path, new: Path) -> dict[str, tuple[int, bool]]:
    """Copy what can be read into tables of the same version; opening brings them forward."""
    old = sqlite3.connect(path, isolation_level=None)
    opening.make_for_owner(new)
    with watched(new):
        db = sqlite3.connect(new, isolation_level=None)
        try:
            db.execute("PRAGMA synchronous = OFF")  # written through at the end
            db.execute("BEGIN IMMEDIATE")
            version = schema.version_by_tables(
                _tables_if_readable(old),
                _columns_if_readable(old, "episode"),
                _columns_if_readable(old, "text"),
            )
            schema.bring_forward(db, 0, version)
            kept = {table: rescued(old, db, table) for table in _tables(db)}
            db.execute("COMMIT")
        finally:
            db.close()
            old.close()
    return kept


def _tables(db: sqlite3.Connection) -> list[str]:
    select = "SELECT name FROM sqlite_schema WHERE type = 'table' AND name NOT LIKE 'sqlite_%'"
    return [row[0] for row in db.execute(select)]


def _columns_if_readable(db: sqlite3.Connection, table: str) -> list[str]:
    """The columns of a table; none where nobody can say."""
    try:
        return [row[1] for row in db.execute(f"PRAGMA table_info({table})")]
    except DATABASE_ERRORS:
        return []


def _tables_if_readable(db: sqlite3.Connection) -> list[str]:
    try:
        return _tables(db)
    except DATABASE_ERRORS:
        return []


_BY_SEQ = ("reading", "second_reading", "refusal", "happening", "snapshot")
_BY_PLACE = ("derived", "output", "episode_change")
_HIGHEST = " UNION ALL ".join(
    [
        "SELECT last_seq AS seq FROM progress",
        *(f"SELECT max(seq) FROM {table}" for table in _BY_SEQ),  # noqa: S608 - our own names
        *(
            f"SELECT max(place) / {schema.OUTPUTS_PER_ENTRY} FROM {table}"  # noqa: S608 - as above
            for table in _BY_PLACE
        ),
    ]
)
_FOLLOWING = (
    # A seq is never given twice.
    f"UPDATE progress SET last_seq = coalesce((SELECT max(seq) FROM ({_HIGHEST})), 0)",  # noqa: S608 - our own SQL, no values
    "DELETE FROM episode_change WHERE episode NOT IN (SELECT id FROM episode)",
)


def _alarms_from_outputs(new: sqlite3.Connection) -> None:
    """How each alarm is, from the changes that are left."""
    select = "SELECT body FROM output WHERE kind = 'alarm' ORDER BY place"
    for (body,) in new.execute(select).fetchall():
        try:
            change = alarm_from(body)
        except UnreadableRow:
            continue
        store_alarm(new, change, body)
