"""Retention: old raw readings are deleted, hourly sums stay; alarms, texts and acts stay."""

from dataclasses import dataclass
from typing import Final

from brineward.journal.handle import Handle
from brineward.journal.room import Room
from brineward.journal.schema import OUTPUTS_PER_ENTRY
from brineward.journal.summing import GOOD, addend, subtotal
from brineward.readings.instants import HOUR, SECOND, Instant

_CHUNK: Final = 2_000  # rows in one transaction, so that the service's own commits get between

_SUMMARISE: Final = f"""
    INSERT INTO hour (series, derived, time, count, low, total, high)
    SELECT series, {{derived}}, time - time % {HOUR} AS began, count(value), min(value),
        sum({addend("value")}), max(value)
    FROM {{table}} WHERE {{key}} BETWEEN ? AND ? AND value IS NOT NULL AND {{good}}
    GROUP BY series, began
    ON CONFLICT (series, derived, time) DO UPDATE SET count = count + excluded.count,
        low = min(low, excluded.low), total = {subtotal("total")} + excluded.total,
        high = max(high, excluded.high)"""  # noqa: S608 - our own table names


@dataclass(frozen=True, slots=True, kw_only=True)
class _Table:
    name: str
    key: str
    per_entry: int = 1
    """Keys to one seq."""
    only: str = "1"
    summary: str | None = None

    @property
    def oldest(self) -> str:
        """Selects the oldest keys up to one."""
        return (
            f"SELECT {self.key} FROM {self.name} WHERE {self.key} <= ? AND {self.only}"  # noqa: S608 - our own table names
            f" ORDER BY {self.key} LIMIT ?"
        )

    @property
    def delete(self) -> str:
        """Deletes between two keys."""
        return f"DELETE FROM {self.name} WHERE {self.key} BETWEEN ? AND ? AND {self.only}"  # noqa: S608 - our own table names


_RECEIVED_AT: Final = "SELECT time + lag FROM reading WHERE seq = ?"
_RECEIVED_UP_TO: Final = """SELECT max(at) FROM (
    SELECT * FROM (SELECT time + lag AS at FROM reading WHERE seq <= ?1 ORDER BY seq DESC LIMIT 1)
    UNION ALL
    SELECT * FROM (SELECT received FROM refusal WHERE seq <= ?1 ORDER BY seq DESC LIMIT 1)
    UNION ALL
    SELECT * FROM (SELECT time FROM happening WHERE seq <= ?1 ORDER BY seq DESC LIMIT 1))"""

_TABLES: Final = (
    _Table(
        name="reading",
        key="seq",
        summary=_SUMMARISE.format(table="reading", key="seq", derived=0, good=GOOD),
    ),
    _Table(
        name="derived",
        key="place",
        per_entry=OUTPUTS_PER_ENTRY,
        summary=_SUMMARISE.format(table="derived", key="place", derived=1, good="1"),
    ),
    _Table(name="second_reading", key="seq"),
    _Table(name="refusal", key="seq", only="seq NOT IN (SELECT seq FROM refusal_kept)"),
    _Table(name="happening", key="seq", only="kind = 'tick'"),
)


@dataclass(frozen=True, slots=True, kw_only=True)
class Thinned:
    """What thinning did."""

    rows: int
    """Readings, derived values, ticks and refusals deleted."""
    freed_bytes: int
    """Pages that became free inside the file."""
    up_to: Instant | None
    """When the newest reading that went had been received; None where nothing went."""
    more: bool
    """There is more to thin; it stopped for its share of rows."""


class Thinning:
    """Deleting the oldest in small transactions."""

    def __init__(self, handle: Handle, room: Room) -> None:
        self._handle = handle
        self._room = room

    def thin(self, now: Instant, keep_seconds: float, rows_at_most: int = 50_000) -> Thinned:
        """Delete raw readings received longer ago than the config keeps them; their hourly sums
        stay.

        Never deletes alarms, texts, episodes or acts, nor anything that a depot's last state still
        has to be given. Raises: DiskTrouble, JournalUnusable.
        """
        top = self._seq_received_before(now - int(keep_seconds * SECOND))
        return self._thin_up_to(min(top, self._last_told()), rows_at_most, None)

    def thin_oldest(self, bytes_wanted: int, rows_at_most: int = 1_000_000) -> Thinned:
        """Delete the oldest raw readings until this many bytes can be written again.

        What is never deleted is the same as for `thin`. Raises: DiskTrouble, JournalUnusable.
        """
        return self._thin_up_to(self._last_told(), rows_at_most, bytes_wanted)

    def _thin_up_to(self, top: int, rows_at_most: int, bytes_wanted: int | None) -> Thinned:
        before = self._room.reusable_bytes()
        rows, freed = 0, 0
        up_to: Instant | None = None
        pending = list(_TABLES)
        while pending and rows < rows_at_most and (bytes_wanted is None or freed < bytes_wanted):
            deleted, received = self._delete_chunk(pending[0], top, rows_at_most - rows)
            rows += deleted
            up_to = received or up_to
            freed = max(0, self._room.reusable_bytes() - before)
            if not deleted:
                pending.pop(0)
        return Thinned(rows=rows, freed_bytes=freed, up_to=up_to, more=bool(pending))

    def _delete_chunk(self, table: _Table, top: int, limit: int) -> tuple[int, Instant | None]:
        """Delete a table's oldest rows; how many, and when the last reading had been received."""
        highest = (top + 1) * table.per_entry - 1
        with self._handle.writing() as db:
            keys = db.execute(table.oldest, (highest, min(limit, _CHUNK))).fetchall()
            if not keys:
                return 0, None
            bounds = (keys[0][0], keys[-1][0])
            if table.summary is not None:
                db.execute(table.summary, bounds)
            received = db.execute(_RECEIVED_AT, (bounds[1],)).fetchone()
            db.execute(table.delete, bounds)
        return len(keys), received[0] if table.name == "reading" else None

    def _seq_received_before(self, cutoff: Instant) -> int:
        """The last seq such that all up to it was received before an instant; 0 for none.

        Seqs rise with the time of receiving, so halving finds it.
        """
        with self._handle.reading() as db:
            low, high = 0, int(db.execute("SELECT last_seq FROM progress").fetchone()[0])
            while low < high:
                middle = (low + high + 1) // 2
                newest = db.execute(_RECEIVED_UP_TO, (middle,)).fetchone()[0]
                if newest is None or newest < cutoff:
                    low = middle
                else:
                    high = middle - 1
        return low

    def _last_told(self) -> int:
        """The last seq that every state of the running service knows of."""
        select = """SELECT min(seq) FROM snapshot WHERE seq >=
            (SELECT coalesce(max(seq), 0) FROM happening WHERE kind = 'started')"""
        with self._handle.reading() as db:
            found = db.execute(select).fetchone()[0]
        return 0 if found is None else int(found)
