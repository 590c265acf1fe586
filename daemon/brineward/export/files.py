"""Series as a file: CSV, Parquet, or SenML packs that `brineward replay` reads back.

Values are SI and exact: a number that is read back is the number in the journal, to the last bit.
"""

import csv
import io
import sys
from collections.abc import Callable, Iterator, Mapping, Sequence
from contextlib import contextmanager
from dataclasses import dataclass
from pathlib import Path
from tempfile import NamedTemporaryFile
from typing import IO, Any, Final

import orjson

from brineward.plant.plan import DepotPlan, Measure
from brineward.readings.instants import SECOND, Instant, rfc3339_from_instant
from brineward.records import Records
from brineward.records.bulk import Columns, Wanted

COLUMNS: Final = (
    "time", "depot", "series", "value", "unit", "quality", "reason",
    "standard_uncertainty", "low_95", "high_95", "calibrated",
)  # fmt: skip
PACK: Final = 500
"""Records of one SenML pack, one line."""
_UNITS: Final[Mapping[Measure, str]] = {
    Measure.LEVEL: "m",
    Measure.SALT_LEVEL: "m",
    Measure.CONDUCTIVITY: "S/m",
    Measure.TEMPERATURE: "Cel",
    Measure.DENSITY: "kg/m3",
    Measure.PRESSURE: "Pa",
    Measure.FLOW: "m3/s",
    Measure.CURRENT: "A",
}
"""SI units by their names in SenML (RFC 8428 section 12.1, RFC 8798 section 2); switches have
none."""


Table = tuple[Sequence[Any], ...]
"""`COLUMNS`, each with so many rows."""


class NoExport(Exception):
    """The file can't be made; the text says why and what to do."""


@dataclass(slots=True)
class Written:
    """How much."""

    rows: int = 0
    left_out: int = 0
    """Readings that the form has no way to write: SenML knows none without a value."""


def write(
    records: Records, plans: Mapping[str, DepotPlan], wanted: Wanted, path: Path, what: str
) -> Written:
    """Write readings, derived values or both (`what` is `all`) to a file, whole or not at all.

    The form is what the name ends in: `.csv`, `.parquet` or `.senml`; `-` is CSV to the standard
    output. Raises: NoExport, DiskTrouble, JournalDamaged.
    """
    rows = _rows(records, plans, wanted, what)
    if str(path) == "-":
        return _csv(rows, sys.stdout.buffer)
    form = _FORMS.get(path.suffix.lower())
    if form is None:
        raise NoExport(f"{path.name} ends in none of {', '.join(_FORMS)}: that says what to write")
    if form is _senml:
        if what == "derived":
            raise NoExport("SenML is for readings; a strength goes into .csv or .parquet")
        rows = _rows(records, plans, wanted, "readings")
    with _beside(path) as file:
        return form(rows, file)


@contextmanager
def _beside(path: Path) -> Iterator[IO[bytes]]:
    """A file beside it, which takes its place once it is whole. Raises: NoExport."""
    made: Path | None = None
    try:
        with NamedTemporaryFile(dir=path.parent, prefix=f".{path.name}.", delete=False) as file:
            made = Path(file.name)
            yield file
        made.chmod(0o640)
        made.replace(path)
        made = None
    except OSError as why:
        raise NoExport(f"{path} can't be written: {why.strerror or why}") from why
    finally:
        if made is not None:
            made.unlink(missing_ok=True)


def _rows(
    records: Records, plans: Mapping[str, DepotPlan], wanted: Wanted, what: str
) -> Iterator[Table]:
    """The columns of the file, so many rows at a time."""
    units = _Units(plans)
    if what in ("all", "readings"):
        for found in records.bulk.readings(wanted):
            yield _table(found, [units[one] for one in found.series])
    if what in ("all", "derived"):
        for found in records.bulk.derived(wanted):
            yield _table(found, ("/",) * len(found.times))


def _table(found: Columns, units: Sequence[str]) -> Table:
    depots, names = zip(*found.series, strict=True)
    qualities, reasons = zip(*found.marks, strict=True)
    return (
        found.times, depots, names, found.values, units, qualities, reasons,
        found.doubts, found.lows, found.highs, found.calibrated,
    )  # fmt: skip


class _Units(dict[tuple[str, str], str]):
    """The unit of each sensor, by depot and id; of one that is no more, none."""

    def __init__(self, plans: Mapping[str, DepotPlan]) -> None:
        super().__init__(
            ((depot, sensor.id), _UNITS.get(sensor.measures, ""))
            for depot, plan in plans.items()
            for sensor in plan.sensors.values()
        )

    def __missing__(self, series: tuple[str, str]) -> str:
        return ""


# -- CSV


def _csv(rows: Iterator[Table], file: IO[bytes]) -> Written:
    written = Written()
    text = io.TextIOWrapper(file, encoding="utf-8", newline="", write_through=False)
    writer = csv.writer(text, lineterminator="\n")
    writer.writerow(COLUMNS)
    stamp = _Stamp()
    for times, *columns, calibrated in rows:
        flags = [_FLAG[one] for one in calibrated]
        # csv writes a float as repr does: the shortest text that reads back to it.
        writer.writerows(zip(map(stamp, times), *columns, flags, strict=True))
        written.rows += len(times)
    text.flush()
    text.detach()
    return written


_FLAG: Final = {None: "", True: "true", False: "false"}


class _Stamp:
    """RFC 3339 of instants that mostly lie in the second of the one before."""

    def __init__(self) -> None:
        self._second = -1
        self._text = ""

    def __call__(self, instant: Instant) -> str:
        second, rest = divmod(instant, SECOND)
        if second != self._second:
            self._second = second
            self._text = rfc3339_from_instant(second * SECOND)[:-1]
        return f"{self._text}.{rest:03}Z"


# -- Parquet


def _parquet(rows: Iterator[Table], file: IO[bytes]) -> Written:
    try:
        import pyarrow as pa  # noqa: PLC0415 - 100 MB that only this form needs
        from pyarrow import parquet  # noqa: PLC0415
    except ImportError as why:
        raise NoExport("Parquet needs brineward's extra 'files'; or write .csv") from why
    word, number = pa.dictionary(pa.int32(), pa.string()), pa.float64()
    schema = pa.schema(
        list(
            zip(
                COLUMNS,
                (pa.timestamp("ms", tz="UTC"), word, word, number, word, word, pa.string(),
                 number, number, number, pa.bool_()),
                strict=True,
            )
        )
    )  # fmt: skip
    written = Written()
    with parquet.ParquetWriter(file, schema, compression="zstd") as writer:
        for columns in rows:
            arrays = [
                pa.array(column, type=field.type)
                for column, field in zip(columns, schema, strict=True)
            ]
            writer.write_table(pa.Table.from_arrays(arrays, schema=schema))
            written.rows += len(columns[0])
    return written


# -- SenML


def _senml(rows: Iterator[Table], file: IO[bytes]) -> Written:
    """Packs as a recorded run has them: a line each, names `<depot>/<sensor>`, absolute times."""
    written = Written()
    for times, depots, names, values, units, *_ in rows:
        found = [
            _record(*one)
            for one in zip(times, depots, names, values, units, strict=True)
            if one[3] is not None
        ]
        for first in range(0, len(found), PACK):
            file.write(orjson.dumps(found[first : first + PACK]) + b"\n")
        written.rows += len(found)
        written.left_out += len(times) - len(found)
    return written


def _record(time: Instant, depot: str, name: str, value: float, unit: str) -> dict[str, Any]:
    if unit:
        return {"n": f"{depot}/{name}", "t": time / SECOND, "u": unit, "v": value}
    return {"n": f"{depot}/{name}", "t": time / SECOND, "vb": bool(value)}


_FORMS: Final[Mapping[str, Callable[[Iterator[Table], IO[bytes]], Written]]] = {
    ".csv": _csv,
    ".parquet": _parquet,
    ".senml": _senml,
}
FORMS: Final[Sequence[str]] = tuple(_FORMS)
