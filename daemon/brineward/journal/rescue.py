"""Rescues rows from a table with damaged pages: everything except what lies on those pages.

A table is a tree of pages ordered by its key. Reading a range of keys fails if one of the pages on
the way can't be read; such a range is halved until it is a single row, or can be read.
"""

import sqlite3
from collections.abc import Iterator, Sequence
from typing import Any, Final

from brineward.journal.schema import OUTPUTS_PER_ENTRY
from brineward.journal.trouble import DATABASE_ERRORS

_AT_ONCE: Final = 5_000
_LOOKS: Final = 200_000
"""How many reads of one table may fail: one whose root is lost would be halved for ever."""

_Rows = list[Sequence[Any]]


def rescued(old: sqlite3.Connection, new: sqlite3.Connection, table: str) -> tuple[int, bool]:
    """Copy a table's rows that can be read, in a write transaction of `new`.

    How many there are now, and whether every page could be read. Both have the same tables.
    """
    try:
        known = {row[1] for row in old.execute(f"PRAGMA table_info('{table}')")}
    except DATABASE_ERRORS:
        known = set()
    info = new.execute(f"PRAGMA table_info('{table}')").fetchall()
    columns = [row[1] for row in info if row[1] in known]
    if not columns:
        return _count(new, table), False
    names = ", ".join(columns)
    insert = f"INSERT OR REPLACE INTO {table} ({names}) VALUES ({', '.join('?' * len(columns))})"  # noqa: S608 - names from our own schema
    select = "SELECT sql FROM sqlite_schema WHERE name = ?"
    (made,) = new.execute(select, (table,)).fetchone()
    key = [row[1] for row in sorted(info, key=lambda row: row[5]) if row[5]]
    looks = _Looks(old, table, names, key if "WITHOUT ROWID" in made else [])
    for rows in looks.all():
        _insert(new, insert, rows, looks)
    return _count(new, table), looks.whole


def _insert(new: sqlite3.Connection, insert: str, rows: _Rows, looks: "_Looks") -> None:
    try:
        new.executemany(insert, rows)
    except sqlite3.IntegrityError:
        for row in rows:
            try:
                new.execute(insert, row)
            except sqlite3.IntegrityError:  # a row that damage has made nonsense of
                looks.whole = False


def _count(new: sqlite3.Connection, table: str) -> int:
    return int(new.execute(f"SELECT count(*) FROM {table}").fetchone()[0])  # noqa: S608 - as above


class _Looks:
    """Looks into one table of the damaged file."""

    def __init__(self, old: sqlite3.Connection, table: str, names: str, key: list[str]) -> None:
        """`key` is empty where the table has a number to go by."""
        self._old = old
        self._table = table
        self._names = names
        self._key = key
        self.whole = True
        """No look has failed so far."""
        self._left = _LOOKS

    def all(self) -> Iterator[_Rows]:
        """Every row that can be read, in portions; one may come twice."""
        if self._key:
            yield from self._from_both_ends()
        else:
            yield from self._by_key()

    def _from_both_ends(self) -> Iterator[_Rows]:
        """Of a table without a number to go by, which is a small one."""
        for way in ("ASC", "DESC"):
            order = ", ".join(f"{name} {way}" for name in self._key)
            select = f"SELECT {self._names} FROM {self._table} ORDER BY {order}"  # noqa: S608 - names from our own schema
            rows, done = self._read(select, ())
            yield rows
            if done:
                return

    def _by_key(self) -> Iterator[_Rows]:
        lowest, highest = self._end("ASC"), self._end("DESC")
        if lowest is None and highest is None and self.whole:
            return
        lowest = 0 if lowest is None else lowest
        highest = max(self._other_ends(), lowest) if highest is None else highest
        step = _AT_ONCE * self._unit()
        for start in range(lowest, highest + 1, step):
            yield from self._between(start, min(start + step - 1, highest))

    def _between(self, low: int, high: int) -> Iterator[_Rows]:
        pending = [(low, high)]
        select = f"SELECT {self._names} FROM {self._table} WHERE rowid BETWEEN ? AND ?"  # noqa: S608 - as above
        while pending and self._left > 0:
            low, high = pending.pop()
            rows, done = self._read(select, (low, high))
            if done:
                yield rows
                continue
            self._left -= 1
            middle = (low + high) // 2
            if high - low >= self._unit():
                pending += [(middle + 1, high), (low, middle)]

    def _read(self, select: str, bounds: Sequence[int]) -> tuple[_Rows, bool]:
        """The rows up to the first page that can't be read, and whether there was none."""
        rows: _Rows = []
        try:
            for row in self._old.execute(select, bounds):
                rows.append(row)
        except DATABASE_ERRORS:
            # Pages that can't be read, text that is none, a column whose name is no longer its own:
            # this file was found damaged, and nothing that it answers is a reason to end.
            self.whole = False
            return rows, False
        return rows, True

    def _end(self, way: str) -> int | None:
        rows, _ = self._read(f"SELECT rowid FROM {self._table} ORDER BY rowid {way} LIMIT 1", ())  # noqa: S608 - as above
        return int(rows[0][0]) if rows else None

    def _other_ends(self) -> int:
        """A key that none of this table's is above, as far as others tell."""
        rows, _ = self._read("SELECT last_seq FROM progress", ())
        return (int(rows[0][0]) + 1 if rows else _LOOKS) * self._unit()

    def _unit(self) -> int:
        """Keys apart that rows of two entries have."""
        return OUTPUTS_PER_ENTRY if "place" in self._names.split(", ") else 1
