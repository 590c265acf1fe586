"""Committing a batch: readings, refusals, other entries, and everything that followed from them."""

import sqlite3
from collections.abc import Iterable, Mapping, Sequence
from itertools import chain

from brineward.journal import bodies
from brineward.journal.concluding import Conclusions, store_outputs, unseen_outputs
from brineward.journal.handle import Handle
from brineward.readings.entries import AlarmGone, Entry, LinkChanged
from brineward.readings.outputs import Step
from brineward.readings.values import Quality, Reading, Refusal, TimedBy

REFUSALS_KEPT = 20
"""How many refused payloads of each sensor are kept whole; the counts are kept for ever."""

ReadingRow = tuple[int, int, int, float | None, int, int]

_ROWS_AT_ONCE = 100

_INSERT_READINGS = """INSERT INTO reading (seq, series, time, value, mark, lag)
    VALUES {} ON CONFLICT (series, time) DO NOTHING"""
_READING = "(?, ?, ?, ?, ?, ?)"


_SAME_READING = tuple(
    f"SELECT 1 FROM {table} WHERE series = ? AND time = ? AND value IS ?"  # noqa: S608 - our own table names
    for table in ("reading", "second_reading")
)


class Committing:
    """The one writer's side of the journal."""

    def __init__(self, handle: Handle) -> None:
        self._handle = handle
        self._names = handle.names

    def commit(
        self,
        steps: Sequence[Step],
        *,
        states: Mapping[str, bytes] | None = None,
        inbox_done: Sequence[int] = (),
    ) -> int:
        """Keep a batch in one transaction, or nothing of it; returns the last entry's seq.

        `states` are the engine's states per depot after the last step; `inbox_done` are the
        inbox's entries that this batch has dealt with. A reading whose depot, sensor, time and
        value are known already changes nothing; with another value it is kept as a conflict and
        counted.

        Raises: DiskTrouble (nothing was kept; the same call may be repeated); JournalDamaged;
        JournalReplaced (nobody may rely on what was kept: acknowledge nothing).
        """
        with self._handle.writing() as db:
            last = int(db.execute("SELECT last_seq FROM progress").fetchone()[0])
            last = self._store_steps(db, steps, last)
            db.execute("UPDATE progress SET last_seq = ?", (last,))
            db.executemany(
                "INSERT INTO snapshot (depot, seq, state) VALUES (?, ?, ?) ON CONFLICT (depot)"
                " DO UPDATE SET seq = excluded.seq, state = excluded.state",
                [(depot, last, state) for depot, state in (states or {}).items()],
            )
            db.executemany("DELETE FROM inbox WHERE id = ?", [(number,) for number in inbox_done])
        return last

    def holds(self, reading: Reading) -> bool:
        """Is a reading of this depot, sensor, time and value kept already?"""
        with self._handle.reading() as db:
            series = self._names.find_series(reading.depot, reading.sensor)
            return series is not None and _is_kept(db, series, reading.time, reading.value)

    def _store_steps(self, db: sqlite3.Connection, steps: Sequence[Step], seq: int) -> int:
        readings: list[ReadingRow] = []
        others: list[tuple[int, Entry]] = []
        concluded: list[Conclusions] = []
        names = self._names
        series_ids = names.series_ids
        for entry, outputs in steps:
            seq += 1
            if isinstance(entry, Reading):
                depot, sensor, time, value, received, quality, reason, by, retained, ut = entry
                series = series_ids.get((depot, sensor)) or names.series_id(depot, sensor)
                if (
                    quality is Quality.GOOD
                    and by is TimedBy.SENSOR
                    and not (reason or retained or ut is not None)
                ):
                    mark = 0
                else:
                    mark = names.mark_id((quality, reason, by, retained, ut))
                readings.append((seq, series, time, value, mark, received - time))
            else:
                others.append((seq, entry))
            if outputs:
                concluded.append((seq, outputs))
        known = self._store_readings(db, readings)
        known |= self._store_others(db, others)
        if known:
            concluded = self._settle_known(db, known, concluded)
        store_outputs(db, concluded, names)
        return seq

    def _store_readings(
        self, db: sqlite3.Connection, rows: Sequence[ReadingRow]
    ) -> dict[int, ReadingRow | None]:
        """Store readings; returns those that were known already, by seq."""
        before = db.total_changes
        # Many rows a statement: after every statement the interpreter may be lent to the link's
        # busy thread, and row by row that took most of the time of a commit (measured).
        for start in range(0, len(rows), _ROWS_AT_ONCE):
            some = rows[start : start + _ROWS_AT_ONCE]
            values = ", ".join([_READING] * len(some))
            db.execute(_INSERT_READINGS.format(values), tuple(chain.from_iterable(some)))
        if db.total_changes - before == len(rows):
            return {}
        stored = "SELECT seq FROM reading WHERE seq BETWEEN ? AND ?"
        fresh = {seq for (seq,) in db.execute(stored, (rows[0][0], rows[-1][0]))}
        again = [row for row in rows if row[0] not in fresh]
        return {row[0]: row for row in again if not self._is_conflict(db, row)}

    def _is_conflict(self, db: sqlite3.Connection, row: ReadingRow) -> bool:
        """Keep and count a second value of one sensor and time, unless it is the same value."""
        _, series, time, value, _, lag = row
        if _is_kept(db, series, time, value):
            return False
        self._store_second(db, row, conflict=True)
        _count(db, [(series, "conflict", "another-value", time + lag)])
        return True

    def _store_second(self, db: sqlite3.Connection, row: ReadingRow, *, conflict: bool) -> None:
        db.execute("INSERT INTO second_reading VALUES (?, ?, ?, ?, ?, ?, ?)", (*row, conflict))

    def _store_others(
        self, db: sqlite3.Connection, others: Iterable[tuple[int, Entry]]
    ) -> dict[int, ReadingRow | None]:
        """Store the other entries; returns the seqs of those that were known already."""
        known: dict[int, ReadingRow | None] = {}
        refusals: list[tuple[int, Refusal]] = []
        for seq, entry in others:
            if isinstance(entry, Refusal):
                refusals.append((seq, entry))
                continue
            assert not isinstance(entry, Reading)  # noqa: S101 - for the type checker
            kind, body = bodies.entry_kind(entry), bodies.entry_body(entry)
            depot = getattr(entry, "depot", "")
            same = "SELECT 1 FROM happening WHERE kind = ? AND time = ? AND body = ?"
            if db.execute(same, (kind, entry.time, body)).fetchone():
                known[seq] = None
                continue
            db.execute(
                "INSERT INTO happening VALUES (?, ?, ?, ?, ?)",
                (seq, kind, entry.time, depot, body),
            )
            _take_effect(db, entry)
        if refusals:
            self._store_refusals(db, refusals)
        return known

    def _store_refusals(
        self, db: sqlite3.Connection, refusals: Sequence[tuple[int, Refusal]]
    ) -> None:
        """Count every refusal for ever; keep the last few of each sensor whole, in a ring."""
        series = [self._names.series_id(refusal.depot, refusal.sensor) for _, refusal in refusals]
        rows = list(zip(series, refusals, strict=True))
        db.executemany(
            "INSERT INTO refusal VALUES (?, ?, ?, ?)",
            [(seq, number, one.received, one.reason) for number, (seq, one) in rows],
        )
        _count(db, [(number, "refusal", one.reason, one.received) for number, (_, one) in rows])
        counts = "SELECT coalesce(sum(count), 0) FROM tally WHERE series = ? AND sort = 'refusal'"
        slots = {number: int(db.execute(counts, (number,)).fetchone()[0]) for number in set(series)}
        kept = []
        for number, (seq, one) in reversed(rows):
            slot = slots[number] % REFUSALS_KEPT
            slots[number] -= 1
            kept.append((number, slot, seq, one.sentence, one.topic, one.payload))
        # Oldest first, so that a newer one takes the place of an older one of this very batch.
        db.executemany(
            "INSERT OR REPLACE INTO refusal_kept VALUES (?, ?, ?, ?, ?, ?)", reversed(kept)
        )

    def _settle_known(
        self,
        db: sqlite3.Connection,
        known: Mapping[int, ReadingRow | None],
        concluded: Sequence[Conclusions],
    ) -> list[Conclusions]:
        """Outputs of entries known already: only what is new is kept, and then the entry too."""
        settled: list[Conclusions] = []
        for seq, outputs in concluded:
            if seq not in known:
                settled.append((seq, outputs))
                continue
            fresh = unseen_outputs(db, outputs, self._names)
            if fresh:
                row = known[seq]
                if row is not None:
                    self._store_second(db, row, conflict=False)
                settled.append((seq, fresh))
        return settled


def _take_effect(db: sqlite3.Connection, entry: Entry) -> None:
    """What an entry changes in the tables that hold how things are now."""
    match entry:
        case LinkChanged():
            db.execute(
                "UPDATE service SET link_up = ?, link_changed = ?, link_why = ?",
                (entry.up, entry.time, entry.why),
            )
        case AlarmGone():
            # Nobody will ever say that it is normal again.
            db.execute(
                "DELETE FROM alarm WHERE depot = ? AND alarm = ? AND source = ?",
                (entry.depot, entry.alarm, entry.source),
            )
        case _:
            pass


def _is_kept(db: sqlite3.Connection, series: int, time: int, value: float | None) -> bool:
    same = (series, time, value)
    return any(db.execute(select, same).fetchone() for select in _SAME_READING)


def _count(db: sqlite3.Connection, rows: Iterable[tuple[int, str, str, int]]) -> None:
    db.executemany(
        "INSERT INTO tally (series, sort, reason, count, last) VALUES (?, ?, ?, 1, ?)"
        " ON CONFLICT (series, sort, reason) DO UPDATE SET count = count + 1,"
        " last = max(last, excluded.last)",
        rows,
    )
