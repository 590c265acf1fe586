"""A table of a journal as a file: CSV, Parquet or SenML by what the name ends in, whole or not."""

import csv
import json
import sys
from collections.abc import Iterable, Sequence
from functools import lru_cache
from pathlib import Path
from typing import IO, Any, Final, NamedTuple

from brineward.export.whole_file import NoFile, whole_file
from brineward.readings.instants import MINUTE, rfc3339_from_instant

FORMS: Final = (".csv", ".parquet", ".senml")
SENML_RECORDS: Final = 250
"""Records in one pack."""

Row = tuple[Any, ...]


class Table(NamedTuple):
    """What is written: columns, and rows in groups. `time` and what ends in `ed` are instants."""

    columns: Sequence[str]
    groups: Iterable[Sequence[Row]]
    units: dict[tuple[str, str], str]
    """The SenML unit of a depot's sensor, where it has one."""


def write(table: Table, path: Path) -> int:
    """Write the rows to a file, or as CSV to standard output for `-`; how many there were.

    Raises: NoFile, and what the rows raise.
    """
    if str(path) == "-":
        return _csv(table, sys.stdout.buffer)
    suffix = path.suffix.lower()
    if suffix not in FORMS:
        raise NoFile(f"{path.name} ends in none of {', '.join(FORMS)}: that says what to write")
    if suffix == ".senml" and list(table.columns[:4]) != ["time", "depot", "sensor", "value"]:
        raise NoFile("SenML holds what sensors said, and nothing else: write .csv or .parquet")
    make = {".csv": _csv, ".parquet": _parquet, ".senml": _senml}[suffix]
    with whole_file(path) as file:
        return make(table, file)


def _csv(table: Table, file: IO[bytes]) -> int:
    file.write((",".join(table.columns) + "\n").encode())
    instants = [number for number, name in enumerate(table.columns) if is_instant(name)]
    count = 0
    for rows in table.groups:
        text = _Text()
        # The shortest text that reads back as the same double: Python's own.
        csv.writer(text, lineterminator="\n").writerows(_dated(row, instants) for row in rows)
        file.write("".join(text).encode())
        count += len(rows)
    return count


class _Text(list[str]):
    """Takes what a CSV writer writes."""

    write = list.append


def is_instant(column: str) -> bool:
    """Does a column hold instants?"""
    return column in ("time", "began", "ended", "until")


def _dated(row: Row, instants: Sequence[int]) -> Row:
    cells = list(row)
    for number in instants:
        if cells[number] is not None:
            minute, rest = divmod(cells[number], MINUTE)
            cells[number] = f"{_to_the_minute(minute)}{rest // 1000:02}.{rest % 1000:03}Z"
    return tuple(cells)


@lru_cache(maxsize=1000)
def _to_the_minute(minute: int) -> str:
    """An instant's text up to its seconds: making it anew for each row took most of the time."""
    return rfc3339_from_instant(minute * MINUTE)[:17]


def _senml(table: Table, file: IO[bytes]) -> int:
    """A pack a line (RFC 8428): names `<depot>/<sensor>`, absolute times, SI units."""
    count = 0
    for rows in table.groups:
        for start in range(0, len(rows), SENML_RECORDS):
            pack = [_record(row, table.units) for row in rows[start : start + SENML_RECORDS]]
            file.write(json.dumps(pack, separators=(",", ":"), allow_nan=False).encode() + b"\n")
            count += len(pack)
    return count


def _record(row: Row, units: dict[tuple[str, str], str]) -> dict[str, Any]:
    time, depot, sensor, value = row[:4]
    record: dict[str, Any] = {"n": f"{depot}/{sensor}", "t": time / 1000}
    if (depot, sensor) in units:
        record["u"] = units[depot, sensor]
    # A sensor that said it has no value: RFC 8428 has no null, and our decoder reads this as one.
    return record | ({"vs": "null"} if value is None else {"v": value})


def _parquet(table: Table, file: IO[bytes]) -> int:
    try:
        import pyarrow as arrow  # noqa: PLC0415 - 100 MB that only a Parquet file needs
        from pyarrow import parquet  # noqa: PLC0415 - as above
    except ImportError as why:
        raise NoFile("Parquet needs brineward's extra 'files'; or write .csv") from why
    kinds = {
        "depot": arrow.string(), "sensor": arrow.string(), "name": arrow.string(),
        "calibrated": arrow.bool_(), "number": arrow.int64(),
    }  # fmt: skip
    schema = arrow.schema(
        [
            (
                name,
                arrow.timestamp("ms", tz="UTC")
                if is_instant(name)
                else kinds.get(name, arrow.string() if name in TEXTS else arrow.float64()),
            )
            for name in table.columns
        ]
    )
    count = 0
    with parquet.ParquetWriter(file, schema) as writer:
        for rows in table.groups:
            columns = list(zip(*rows, strict=True))
            arrays = [
                arrow.array(column, type=kind)
                for column, kind in zip(columns, schema.types, strict=True)
            ]
            writer.write_table(arrow.Table.from_arrays(arrays, schema=schema))
            count += len(rows)
    return count


TEXTS: Final = frozenset(
    {
        "quality", "reason", "alarm", "source", "before", "state", "priority", "unit", "sentence",
        "by", "why", "episode", "how",
    }
)  # fmt: skip
"""Columns of words."""
