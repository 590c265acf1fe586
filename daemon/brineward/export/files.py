"""A table of a journal as a CSV, Parquet or SenML file, written whole or not at all."""

import sys
from collections.abc import Callable, Iterable, Iterator, Sequence
from pathlib import Path
from typing import IO, Any, Final, NamedTuple

import orjson

from brineward.export.csv_cells import InstantTexts, number, quoted
from brineward.export.whole_file import NoFile, whole_file

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
    lines: Iterable[tuple[int, str]] | None = None
    """The same as lines of CSV, each group with how many; None: they are made from the rows."""


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
    count = 0
    for rows, lines in _lines(table) if table.lines is None else table.lines:
        file.write(lines.encode())
        count += rows
    return count


def _lines(table: Table) -> Iterator[tuple[int, str]]:
    texts = [_text_of(name) for name in table.columns]
    for rows in table.groups:
        lines = [
            ",".join([text(cell) for text, cell in zip(texts, row, strict=True)]) for row in rows
        ]
        yield len(rows), "\n".join(lines) + "\n"


def _text_of(column: str) -> Callable[[Any], str]:
    if is_instant(column):
        return InstantTexts()
    return quoted if column in TEXTS or column in _NAMES else number


def is_instant(column: str) -> bool:
    """Does a column hold instants?"""
    return column in ("time", "began", "ended", "until")


def _senml(table: Table, file: IO[bytes]) -> int:
    """A pack a line (RFC 8428): names `<depot>/<sensor>`, absolute times, SI units."""
    count = 0
    named: dict[tuple[str, str], dict[str, Any]] = {}
    for rows in table.groups:
        for start in range(0, len(rows), SENML_RECORDS):
            pack = [_record(row, table.units, named) for row in rows[start : start + SENML_RECORDS]]
            file.write(orjson.dumps(pack) + b"\n")
            count += len(pack)
    return count


def _record(
    row: Row,
    units: dict[tuple[str, str], str],
    named: dict[tuple[str, str], dict[str, Any]],
) -> dict[str, Any]:
    time, depot, sensor, value = row[:4]
    about = named.get((depot, sensor))
    if about is None:
        about = named[depot, sensor] = {"n": f"{depot}/{sensor}"}
        if (depot, sensor) in units:
            about["u"] = units[depot, sensor]
    # A sensor that said it has no value: RFC 8428 has no null, and our decoder reads this as one.
    if value is None:
        return {**about, "t": time / 1000, "vs": "null"}
    return {**about, "t": time / 1000, "v": value}


def _parquet(table: Table, file: IO[bytes]) -> int:
    try:
        import pyarrow as arrow  # noqa: PLC0415 - 100 MB that only a Parquet file needs
        from pyarrow import parquet  # noqa: PLC0415 - as above
    except ImportError as why:
        raise NoFile("Parquet needs brineward's extra 'files'; or write .csv") from why
    kinds = {
        **dict.fromkeys(_NAMES, arrow.string()),
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

_NAMES: Final = frozenset({"depot", "sensor", "name"})
