"""`brineward export CONFIG -o FILE`: any series, any period, exact; or sent to a server again."""

import argparse
import gc
import sys
from collections.abc import Iterator, Mapping, Sequence
from contextlib import contextmanager
from fnmatch import fnmatchcase
from pathlib import Path
from typing import Final, Literal

from brineward.clock import Clock, MachineClock
from brineward.commands.config_file import add_config
from brineward.commands.span import NoTime, Span, add_span, span_of
from brineward.commands.which_depot import WhichDepot, the_depots
from brineward.commands.which_journal import add_journal, now_in, settings_of
from brineward.config.settings import ExportSettings, Settings
from brineward.export.csv_cells import ReadingLines
from brineward.export.files import Row, Table, write
from brineward.export.whole_file import NoFile
from brineward.followers.cursor import NotNow
from brineward.journal import DiskTrouble, Journal, JournalUnusable
from brineward.journal.episodes import FIGURES
from brineward.plant.plan import Measure
from brineward.records import Records
from brineward.records.bulk import Wanted
from brineward.records.series import Series
from brineward.service.exporting import send_again

WELL, NONE, MISASKED = 0, 1, 2

COLUMNS: Final = {
    "sensors": ("time", "depot", "sensor", "value", "quality", "reason"),
    "strength": (
        "time", "depot", "name", "value", "standard_uncertainty", "low_95", "high_95", "calibrated",
    ),
    "alarms": (
        "time", "depot", "alarm", "source", "number", "before", "state", "priority", "value",
        "limit", "unit", "sentence", "by", "why", "until",
    ),
    "episodes": ("began", "depot", "episode", "source", "ended", *FIGURES),
}  # fmt: skip
_SENML: Final = {
    Measure.LEVEL: "m", Measure.CONDUCTIVITY: "S/m", Measure.TEMPERATURE: "Cel",
    Measure.DENSITY: "kg/m3", Measure.PRESSURE: "Pa", Measure.FLOW: "m3/s", Measure.CURRENT: "A",
    Measure.SALT_LEVEL: "m",
}  # fmt: skip
_ALL: Final = 1_000_000_000


def add_parser(subparsers: "argparse._SubParsersAction[argparse.ArgumentParser]") -> None:
    """Add `export` to the command line."""
    parser = subparsers.add_parser(
        "export",
        help="write any series of any period to a file, or send it to a server again",
        description="Values are as in the journal, in SI units and UTC, to the last bit. The "
        "file appears under its name only when it is complete. Ends with 0; 1 if "
        "there was nothing; 2 if it can't be done.",
    )
    add_config(parser)
    add_span(parser, since="30 d")
    parser.add_argument("--depot", metavar="NAME", help="only this one; default: all")
    add_journal(parser)
    where = parser.add_mutually_exclusive_group(required=True)
    where.add_argument(
        "-o", "--output", type=Path, metavar="FILE",
        help="a file that ends in .csv, .parquet or .senml; - for CSV to standard output",
    )  # fmt: skip
    where.add_argument(
        "--to", metavar="NAME", help="an [export.<name>] of the config; influxdb: the only one"
    )
    parser.add_argument("--what", choices=tuple(COLUMNS), default="sensors")
    parser.add_argument(
        "--series", metavar="NAME", action="append",
        help="only this sensor or derived value, * for any letters; may be given again",
    )  # fmt: skip
    parser.set_defaults(run=run)


def run(arguments: argparse.Namespace) -> int:
    """Write or send; 0, 1 where there is nothing, 2 where it can't be done.

    Raises: ConfigMistakes.
    """
    settings = settings_of(arguments)
    try:
        plans = the_depots(settings, arguments.depot)
        depots, zone = [plan.id for plan in plans], plans[0].zone
        span = span_of(arguments.since, arguments.until, zone, now_in(arguments, settings))
        with Journal.open(settings.journal.path, read_only=arguments.to is None) as journal:
            if arguments.to is not None:
                count = _send(settings, journal, arguments.to, depots, span)
            else:
                table = _table(settings, journal, arguments, depots, span)
                with _no_search_for_cycles():
                    count = write(table, arguments.output)
            thinned = 0
            if arguments.what == "sensors":
                wanted = _wanted(journal, depots, span, arguments.series or ["*"])
                thinned = Records(journal.handle).bulk.thinned(wanted)
            unknown = list(_unknown(journal, arguments, depots))
            passed_over = sum(journal.unreadable.values())
    except (WhichDepot, NoTime, NoFile, NotNow, DiskTrouble, JournalUnusable) as why:
        print(why, file=sys.stderr)
        return MISASKED
    for sentence in unknown:
        print(sentence, file=sys.stderr)
    if passed_over:
        print(f"{passed_over:,} rows can't be read and are left out", file=sys.stderr)
    if thinned:
        print(
            f"{thinned:,} hours of single sensors were thinned to sums and are not included",
            file=sys.stderr,
        )
    print(f"{count:,} {'points' if arguments.to else 'rows'}", file=sys.stderr)
    return WELL if count else NONE


@contextmanager
def _no_search_for_cycles() -> Iterator[None]:
    """Rows are tuples of plain values: to look through all of them took a third of the time."""
    gc.disable()
    try:
        yield
    finally:
        gc.enable()


def _send(
    settings: Settings, journal: Journal, name: str, depots: Sequence[str], span: Span
) -> int:
    exports = settings.exports
    if name == "influxdb" and name not in exports and len(exports) == 1:
        name = next(iter(exports))
    if name not in exports:
        known = " or ".join(f"--to {one}" for one in exports) or "the config has no [export.<name>]"
        raise NoFile(f"where to? {known}")
    export: ExportSettings = exports[name]
    wanted = [one for one in depots if one in (export.depots or settings.depots)]
    clock: Clock = MachineClock()
    return send_again(journal, export, wanted, span.start, span.end, clock=clock)


def _units(settings: Settings) -> dict[tuple[str, str], str]:
    return {
        (plan.id, sensor.id): _SENML[sensor.measures]
        for plan in settings.depots.values()
        for sensor in plan.sensors.values()
        if sensor.measures in _SENML
    }


def _table(
    settings: Settings,
    journal: Journal,
    arguments: argparse.Namespace,
    depots: Sequence[str],
    span: Span,
) -> Table:
    """What is asked for; its rows are read while they are written."""
    what, series = arguments.what, arguments.series or ["*"]
    if what != "sensors":
        rows = _groups(journal, what, depots, span, series)
        return Table(COLUMNS[what], rows, _units(settings))
    wanted = _wanted(journal, depots, span, series)
    bulk, lines = Records(journal.handle).bulk, ReadingLines()
    return Table(
        COLUMNS[what],
        (page.rows() for page in bulk.readings(wanted)),
        _units(settings),
        lines=((len(page.readings), lines.of(*page)) for page in bulk.readings(wanted)),
    )


def _groups(
    journal: Journal, what: str, depots: Sequence[str], span: Span, series: Sequence[str]
) -> Iterator[Sequence[Row]]:
    for depot in depots:
        if what == "strength":
            yield from _strength(Series(journal.handle), depot, span, series)
        else:
            rows = _facts(Records(journal.handle), what, depot, span)
            if rows:
                yield rows


def _wanted(journal: Journal, depots: Sequence[str], span: Span, wanted: Sequence[str]) -> Wanted:
    found = Series(journal.handle)
    return Wanted(
        sensors={
            depot: frozenset(
                name for name in found.names_of(depot, "reading") if _is_one_of(name, wanted)
            )
            for depot in depots
        },
        start=span.start,
        end=span.end,
    )


_KINDS: Final[Mapping[str, Literal["reading", "derived"]]] = {
    "sensors": "reading",
    "strength": "derived",
}
"""What has series of its own names, and where the journal has them."""


def _unknown(
    journal: Journal, arguments: argparse.Namespace, depots: Sequence[str]
) -> Iterator[str]:
    """A sentence for each --series that names nothing there is."""
    kind = _KINDS.get(arguments.what)
    if kind is None or not arguments.series:
        return
    found = Series(journal.handle)
    names = sorted({name for depot in depots for name in found.names_of(depot, kind)})
    for one in arguments.series:
        if not any(_is_one_of(name, [one]) for name in names):
            known = f"expected one of {', '.join(names)}" if names else "there is none yet"
            yield f"--series {one[:40]!r} names no series of this journal; {known}"


def _is_one_of(name: str, wanted: Sequence[str]) -> bool:
    return any(fnmatchcase(name, one) for one in wanted)


def _strength(
    found: Series, depot: str, span: Span, wanted: Sequence[str]
) -> Iterator[Sequence[Row]]:
    for name in found.names_of(depot, "derived"):
        if _is_one_of(name, wanted):
            for rows in found.derived(depot, name, *span):
                yield [(row[0], depot, name, *row[1:5], bool(row[5])) for row in rows]


def _facts(records: Records, what: str, depot: str, span: Span) -> list[Row]:
    found = (
        records.alarms.history(depot, *span, limit=_ALL)
        if what == "alarms"
        else records.episodes.between(depot, *span, limit=_ALL)
    )
    return [tuple(getattr(one, name) for name in COLUMNS[what]) for one in found]
