"""The tables, and how an older file is upgraded.

`seq` is the place of an entry in the order of processing; it is never used twice. `place` is the
place of an output: its entry's seq times 65536, plus its number among that entry's outputs.
"""

import sqlite3
from collections.abc import Callable, Collection
from typing import Final

from brineward.journal.forward import retold

APPLICATION_ID: Final = 0x4252_4E4A
"""Marks the file as a journal of ours ("BRNJ") in SQLite's header."""

OUTPUTS_PER_ENTRY: Final = 1 << 16

NEW_MARK: Final = "lower(hex(randomblob(6)))"
"""Draws a mark for a file."""

_VERSION_1: Final = (
    "CREATE TABLE progress (only INTEGER PRIMARY KEY CHECK (only = 1), last_seq INTEGER NOT NULL)",
    "INSERT INTO progress VALUES (1, 0)",
    # A sensor or a derived value of a depot.
    """CREATE TABLE series (
        id INTEGER PRIMARY KEY, depot TEXT NOT NULL, name TEXT NOT NULL, UNIQUE (depot, name))""",
    # Quality, reason, whose clock, retained, silent-after, as a JSON list; 0 is the plain one.
    "CREATE TABLE mark (id INTEGER PRIMARY KEY, body TEXT NOT NULL UNIQUE)",
    # lag: milliseconds from measured to received.
    """CREATE TABLE reading (
        seq INTEGER PRIMARY KEY, series INTEGER NOT NULL, time INTEGER NOT NULL, value REAL,
        mark INTEGER NOT NULL, lag INTEGER NOT NULL)""",
    "CREATE UNIQUE INDEX reading_by_time ON reading (series, time)",
    # Readings whose sensor and time were taken already: with another value (a conflict), or the
    # same again where the engine concluded something new when it came.
    """CREATE TABLE second_reading (
        seq INTEGER PRIMARY KEY, series INTEGER NOT NULL, time INTEGER NOT NULL, value REAL,
        mark INTEGER NOT NULL, lag INTEGER NOT NULL, conflict INTEGER NOT NULL)""",
    "CREATE INDEX second_reading_by_time ON second_reading (series, time)",
    """CREATE TABLE refusal (
        seq INTEGER PRIMARY KEY, series INTEGER NOT NULL, received INTEGER NOT NULL,
        reason TEXT NOT NULL)""",
    # The last few of each sensor, whole: a ring, so that a flood of rubbish can't fill the disk.
    """CREATE TABLE refusal_kept (
        series INTEGER NOT NULL, slot INTEGER NOT NULL, seq INTEGER NOT NULL,
        sentence TEXT NOT NULL, topic TEXT NOT NULL, payload BLOB NOT NULL,
        PRIMARY KEY (series, slot)) WITHOUT ROWID""",
    "CREATE UNIQUE INDEX refusal_kept_by_seq ON refusal_kept (seq)",
    # Counts that are kept for ever.
    """CREATE TABLE tally (
        series INTEGER NOT NULL, sort TEXT NOT NULL, reason TEXT NOT NULL, count INTEGER NOT NULL,
        last INTEGER NOT NULL, PRIMARY KEY (series, sort, reason)) WITHOUT ROWID""",
    # Every other entry. An empty depot means all of them.
    """CREATE TABLE happening (
        seq INTEGER PRIMARY KEY, kind TEXT NOT NULL, time INTEGER NOT NULL, depot TEXT NOT NULL,
        body TEXT NOT NULL)""",
    "CREATE INDEX happening_by_time ON happening (kind, time)",
    """CREATE TABLE derived (
        place INTEGER PRIMARY KEY, series INTEGER NOT NULL, time INTEGER NOT NULL, value REAL,
        uncertainty REAL, calibrated INTEGER NOT NULL)""",
    "CREATE INDEX derived_by_time ON derived (series, time)",
    # Alarm changes, episodes and texts due, as concluded.
    """CREATE TABLE output (
        place INTEGER PRIMARY KEY, kind TEXT NOT NULL, time INTEGER NOT NULL, depot TEXT NOT NULL,
        same TEXT NOT NULL, body TEXT NOT NULL)""",
    "CREATE UNIQUE INDEX output_by_time ON output (depot, kind, time, same)",
    """CREATE TABLE alarm (
        depot TEXT NOT NULL, alarm TEXT NOT NULL, source TEXT NOT NULL, state TEXT NOT NULL,
        since INTEGER NOT NULL, body TEXT NOT NULL,
        PRIMARY KEY (depot, alarm, source)) WITHOUT ROWID""",
    "CREATE TABLE snapshot (depot TEXT PRIMARY KEY, seq INTEGER NOT NULL, state BLOB NOT NULL)",
    """CREATE TABLE inbox (
        id INTEGER PRIMARY KEY AUTOINCREMENT, kind TEXT NOT NULL, body TEXT NOT NULL)""",
    """CREATE TABLE text (
        id TEXT PRIMARY KEY, depot TEXT NOT NULL, number INTEGER NOT NULL, person TEXT NOT NULL,
        kind TEXT NOT NULL, priority TEXT NOT NULL, body TEXT NOT NULL, created INTEGER NOT NULL,
        state TEXT NOT NULL, attempts INTEGER NOT NULL, next_attempt INTEGER NOT NULL,
        attempted INTEGER, settled INTEGER, receipt TEXT NOT NULL, why TEXT NOT NULL)""",
    "CREATE INDEX text_open ON text (next_attempt) WHERE state = 'open'",
    "CREATE INDEX text_by_time ON text (created)",
    "CREATE TABLE cursor (name TEXT PRIMARY KEY, seq INTEGER NOT NULL)",
    """CREATE TABLE service (
        only INTEGER PRIMARY KEY CHECK (only = 1), pid INTEGER, version TEXT, config_hash TEXT,
        started INTEGER, beat INTEGER, last_commit INTEGER, link_up INTEGER,
        link_changed INTEGER, link_why TEXT)""",
    "INSERT INTO service (only) VALUES (1)",
)

_VERSION_2: Final = (
    # What is left of readings and derived values that were thinned: one row an hour.
    """CREATE TABLE hour (
        series INTEGER NOT NULL, derived INTEGER NOT NULL, time INTEGER NOT NULL,
        count INTEGER NOT NULL, low REAL NOT NULL, total REAL NOT NULL, high REAL NOT NULL,
        PRIMARY KEY (series, derived, time)) WITHOUT ROWID""",
)

_VERSION_3: Final = (
    # Drawn once for each file, so that an id of another file's text is never taken for one of ours.
    "CREATE TABLE identity (only INTEGER PRIMARY KEY CHECK (only = 1), mark TEXT NOT NULL)",
    f"INSERT INTO identity VALUES (1, {NEW_MARK})",  # noqa: S608 - our own expression
    # The ends of the 95 % interval; what was derived before has none.
    "ALTER TABLE derived ADD COLUMN low_95 REAL",
    "ALTER TABLE derived ADD COLUMN high_95 REAL",
    # What the plant did, with its figures as last known, and each change of it in its place.
    # Another figure is a field of EpisodeChanged, its name in episodes.FIGURES, and one more step
    # here that adds its column to both tables.
    """CREATE TABLE episode (
        id INTEGER PRIMARY KEY, depot TEXT NOT NULL, episode TEXT NOT NULL, source TEXT NOT NULL,
        began INTEGER NOT NULL, ended INTEGER, amount_m3 REAL,
        UNIQUE (depot, episode, source, began))""",
    "CREATE INDEX episode_by_time ON episode (depot, began)",
    """CREATE TABLE episode_change (
        place INTEGER PRIMARY KEY, episode INTEGER NOT NULL, time INTEGER NOT NULL, ended INTEGER,
        amount_m3 REAL)""",
    """CREATE UNIQUE INDEX episode_change_once
        ON episode_change (episode, time, coalesce(ended, -1))""",
    # The highest number of an occurrence, and how many texts there were that were about none.
    """CREATE TABLE given (
        depot TEXT PRIMARY KEY, number INTEGER NOT NULL, letters INTEGER NOT NULL)
        WITHOUT ROWID""",
    # Rows that could not be read, out of everybody's way.
    """CREATE TABLE set_aside (
        id INTEGER PRIMARY KEY, source TEXT NOT NULL, kind TEXT NOT NULL, body, why TEXT NOT NULL)
        """,
    "CREATE TABLE reply_seen (key TEXT PRIMARY KEY, at INTEGER NOT NULL) WITHOUT ROWID",
    "ALTER TABLE text ADD COLUMN notice TEXT NOT NULL DEFAULT ''",
    "UPDATE text SET kind = 'cleared' WHERE kind = 'over'",
    "UPDATE text SET notice = json_object('kind', kind, 'plain', body)",
    "ALTER TABLE text DROP COLUMN body",
    retold,
)

_NEW_FIGURES: Final = (
    "amount_uncertainty_m3 REAL",
    "mass_fraction REAL",
    "low_95 REAL",
    "high_95 REAL",
    "temperature_c REAL",
    "salt_kg REAL",
    "water_m3 REAL",
    "how TEXT",
)

_VERSION_4: Final = (
    # How sure the amount of an episode is, how strong and warm the brine was, and what was in it.
    *(f"ALTER TABLE episode ADD COLUMN {column}" for column in _NEW_FIGURES),
    *(f"ALTER TABLE episode_change ADD COLUMN {column}" for column in _NEW_FIGURES),
    "CREATE INDEX episode_by_kind ON episode (depot, episode, id)",
)


_VERSION_5: Final = (
    # Which of the person's channels is next, and what a receipt that is awaited will call it.
    "ALTER TABLE text ADD COLUMN way INTEGER NOT NULL DEFAULT 0",
    "ALTER TABLE text ADD COLUMN known_as TEXT NOT NULL DEFAULT ''",
    "CREATE INDEX text_known_as ON text (known_as) WHERE known_as <> ''",
)

Step = str | Callable[[sqlite3.Connection], None]

MIGRATIONS: Final[tuple[tuple[Step, ...], ...]] = (
    _VERSION_1,
    _VERSION_2,
    _VERSION_3,
    _VERSION_4,
    _VERSION_5,
)
"""What brings a file from version n to n + 1; a released step is never edited."""

VERSION: Final = len(MIGRATIONS)


def bring_forward(db: sqlite3.Connection, version: int, to: int = VERSION) -> None:
    """Run every step after `version`, all in one transaction that the caller has begun."""
    for steps in MIGRATIONS[version:to]:
        for step in steps:
            if isinstance(step, str):
                db.execute(step)
            else:
                step(db)
    db.execute(f"PRAGMA application_id = {APPLICATION_ID}")
    db.execute(f"PRAGMA user_version = {to}")


def version_by_tables(
    names: Collection[str], of_episodes: Collection[str] = (), of_texts: Collection[str] = ()
) -> int:
    """The version that made these tables, for a file whose own number can't be trusted.

    `of_episodes` are the columns of its table of episodes, `of_texts` those of its texts.
    """
    if "way" in of_texts:
        return 5
    if "how" in of_episodes:
        return 4
    if not names or "identity" in names:
        return 3
    return 2 if "hour" in names else 1
