"""Storing what the engine concluded: derived values, alarm changes, episodes, texts due."""

import sqlite3
from collections.abc import Iterable

from brineward.journal import bodies, episodes
from brineward.journal.names import Names
from brineward.journal.schema import OUTPUTS_PER_ENTRY
from brineward.readings.outputs import (
    AlarmChanged,
    AlarmState,
    Derived,
    EpisodeChanged,
    Output,
    TextDue,
)

_INSERT_DERIVED = """INSERT INTO derived
    (place, series, time, value, uncertainty, calibrated, low_95, high_95)
    VALUES (?, ?, ?, ?, ?, ?, ?, ?)"""

_INSERT_OUTPUT = """INSERT INTO output (place, kind, time, depot, same, body)
    VALUES (?, ?, ?, ?, ?, ?) ON CONFLICT (depot, kind, time, same) DO NOTHING"""

_INSERT_TEXT = """INSERT INTO text (id, depot, number, person, kind, priority, notice, created,
    state, attempts, next_attempt, receipt, why)
    VALUES (?, ?, ?, ?, ?, ?, ?, ?, 'open', 0, ?, '', '') ON CONFLICT (id) DO NOTHING"""

_UPSERT_ALARM = """INSERT INTO alarm (depot, alarm, source, state, since, body)
    VALUES (?, ?, ?, ?, ?, ?) ON CONFLICT (depot, alarm, source) DO UPDATE SET
    state = excluded.state, body = excluded.body,
    since = CASE WHEN ? THEN excluded.since ELSE since END"""

_COUNT_NUMBER = """INSERT INTO given (depot, number, letters) VALUES (?, ?, 0)
    ON CONFLICT (depot) DO UPDATE SET number = max(number, excluded.number)"""
_COUNT_LETTER = """INSERT INTO given (depot, number, letters) VALUES (?, 0, 1)
    ON CONFLICT (depot) DO UPDATE SET letters = letters + 1"""

Conclusions = tuple[int, tuple[Output, ...]]
"""An entry's seq and what was concluded from it."""


def store_outputs(db: sqlite3.Connection, concluded: Iterable[Conclusions], names: Names) -> None:
    """Store each entry's outputs, texts due also in the outbox, inside a write transaction.

    Raises: ValueError where one entry has more outputs than there are places for.
    """
    derived: list[tuple[object, ...]] = []
    for seq, outputs in concluded:
        if len(outputs) > OUTPUTS_PER_ENTRY:
            raise ValueError(f"{len(outputs)} outputs of one entry; at most {OUTPUTS_PER_ENTRY}")
        for place, output in enumerate(outputs, seq * OUTPUTS_PER_ENTRY):
            if isinstance(output, Derived):
                derived.append(_derived_row(place, output, names))
            elif isinstance(output, EpisodeChanged):
                episodes.store_change(db, place, output)
            else:
                _store_concluded(db, place, output)
    db.executemany(_INSERT_DERIVED, derived)


def _derived_row(place: int, output: Derived, names: Names) -> tuple[object, ...]:
    series = names.series_id(output.depot, output.name)
    spread = (output.standard_uncertainty, output.calibrated, output.low_95, output.high_95)
    return (place, series, output.time, output.value, *spread)


def _store_concluded(db: sqlite3.Connection, place: int, output: bodies.Concluded) -> None:
    kind, body = bodies.output_kind(output), bodies.output_body(output)
    row = (place, kind, output.time, output.depot, bodies.output_same(output), body)
    if not db.execute(_INSERT_OUTPUT, row).rowcount:
        return
    if isinstance(output, TextDue):
        _store_text(db, output)
    else:
        store_alarm(db, output, body)
        db.execute(_COUNT_NUMBER, (output.depot, output.number))


def _store_text(db: sqlite3.Connection, output: TextDue) -> None:
    which = (output.id, output.depot, output.number, output.person, output.kind)
    notice = bodies.notice_body(output.notice)
    times = (output.time, output.time)
    stored = db.execute(_INSERT_TEXT, (*which, output.priority.value, notice, *times)).rowcount
    if stored and output.number == 0:
        db.execute(_COUNT_LETTER, (output.depot,))


def store_alarm(db: sqlite3.Connection, change: AlarmChanged, body: str) -> None:
    """Keep an alarm's last change and since when it is not normal, in a write transaction."""
    which = (change.depot, change.alarm, change.source, change.state.value, change.time, body)
    db.execute(_UPSERT_ALARM, (*which, change.before is AlarmState.NORMAL))


def unseen_outputs(
    db: sqlite3.Connection, outputs: Iterable[Output], names: Names
) -> tuple[Output, ...]:
    """Those of the outputs that the journal does not hold yet."""
    return tuple(output for output in outputs if not _is_held(db, output, names))


def _is_held(db: sqlite3.Connection, output: Output, names: Names) -> bool:
    if isinstance(output, EpisodeChanged):
        return episodes.is_held(db, output)
    if isinstance(output, Derived):
        series = names.find_series(output.depot, output.name)
        select = "SELECT 1 FROM derived WHERE series = ? AND time = ? AND value IS ?"
        held = db.execute(select, (series, output.time, output.value)).fetchone()
    else:
        same = (output.depot, bodies.output_kind(output), output.time, bodies.output_same(output))
        select = "SELECT 1 FROM output WHERE depot = ? AND kind = ? AND time = ? AND same = ?"
        held = db.execute(select, same).fetchone()
    return held is not None
