"""Storing what the engine concluded: derived values, alarm changes, episodes, texts due."""

import sqlite3
from collections.abc import Callable, Iterable

from brineward.journal import bodies
from brineward.journal.schema import OUTPUTS_PER_ENTRY
from brineward.readings.outputs import AlarmChanged, AlarmState, Derived, Output, TextDue

_INSERT_OUTPUT = """INSERT INTO output (place, kind, time, depot, same, body)
    VALUES (?, ?, ?, ?, ?, ?) ON CONFLICT (depot, kind, time, same) DO NOTHING"""

_INSERT_TEXT = """INSERT INTO text (id, depot, number, person, kind, priority, body, created,
    state, attempts, next_attempt, receipt, why)
    VALUES (?, ?, ?, ?, ?, ?, ?, ?, 'open', 0, ?, '', '') ON CONFLICT (id) DO NOTHING"""

_UPSERT_ALARM = """INSERT INTO alarm (depot, alarm, source, state, since, body)
    VALUES (?, ?, ?, ?, ?, ?) ON CONFLICT (depot, alarm, source) DO UPDATE SET
    state = excluded.state, body = excluded.body,
    since = CASE WHEN ? THEN excluded.since ELSE since END"""


def store_outputs(
    db: sqlite3.Connection,
    told: Iterable[tuple[int, tuple[Output, ...]]],
    series_id: Callable[[str, str], int],
) -> None:
    """Store each entry's outputs, texts due also in the outbox, inside a write transaction.

    Raises: ValueError where one entry has more outputs than there are places for.
    """
    derived: list[tuple[int, int, int, float, float | None, bool]] = []
    for seq, outputs in told:
        if len(outputs) > OUTPUTS_PER_ENTRY:
            raise ValueError(f"{len(outputs)} outputs of one entry; at most {OUTPUTS_PER_ENTRY}")
        for place, output in enumerate(outputs, seq * OUTPUTS_PER_ENTRY):
            if isinstance(output, Derived):
                derived.append(
                    (
                        place,
                        series_id(output.depot, output.name),
                        output.time,
                        output.value,
                        output.standard_uncertainty,
                        output.calibrated,
                    )
                )
            else:
                _store_concluded(db, place, output)
    db.executemany("INSERT INTO derived VALUES (?, ?, ?, ?, ?, ?)", derived)


def _store_concluded(db: sqlite3.Connection, place: int, output: bodies.Concluded) -> None:
    kind, body, same = (
        bodies.output_kind(output),
        bodies.output_body(output),
        bodies.output_same(output),
    )
    row = (place, kind, output.time, output.depot, same, body)
    if not db.execute(_INSERT_OUTPUT, row).rowcount:
        return
    if isinstance(output, TextDue):
        text = (output.id, output.depot, output.number, output.person, output.kind)
        times = (output.time, output.time)
        db.execute(_INSERT_TEXT, (*text, output.priority.value, output.body, *times))
    elif isinstance(output, AlarmChanged):
        which = (output.depot, output.alarm, output.source, output.state.value, output.time, body)
        db.execute(_UPSERT_ALARM, (*which, output.before is AlarmState.NORMAL))


def unseen_outputs(
    db: sqlite3.Connection,
    outputs: Iterable[Output],
    find_series: Callable[[str, str], int | None],
) -> tuple[Output, ...]:
    """Those of the outputs that the journal does not hold yet."""
    return tuple(output for output in outputs if not _is_held(db, output, find_series))


def _is_held(
    db: sqlite3.Connection, output: Output, find_series: Callable[[str, str], int | None]
) -> bool:
    if isinstance(output, Derived):
        series = find_series(output.depot, output.name)
        select = "SELECT 1 FROM derived WHERE series = ? AND time = ? AND value IS ?"
        held = db.execute(select, (series, output.time, output.value)).fetchone()
    else:
        same = (output.depot, bodies.output_kind(output), output.time, bodies.output_same(output))
        select = "SELECT 1 FROM output WHERE depot = ? AND kind = ? AND time = ? AND same = ?"
        held = db.execute(select, same).fetchone()
    return held is not None
