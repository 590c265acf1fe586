"""What `loads`, `batches` and `balance` have in common: options, and rows as JSON, CSV or lines."""

import argparse
import csv
import json
import sys
from collections.abc import Callable, Iterable, Sequence
from typing import Any, NamedTuple

from brineward.commands.config_file import add_config
from brineward.commands.span import NoTime, Span, add_span, span_of
from brineward.commands.which_depot import WhichDepot, the_depots
from brineward.commands.which_journal import add_journal, now_in, settings_of
from brineward.journal import DiskTrouble, Journal, JournalUnusable
from brineward.plant.plan import DepotPlan
from brineward.readings.instants import Instant, rfc3339_from_instant
from brineward.records import Records

WELL, NONE, MISASKED = 0, 1, 2


class Asked(NamedTuple):
    """One depot and a stretch of time."""

    records: Records
    plan: DepotPlan
    span: Span
    now: Instant


class Table(NamedTuple):
    """How rows are shown: as data, and as lines for a person."""

    rows: Callable[[Asked], Iterable[dict[str, Any]]]
    lines: Callable[[Asked, Sequence[dict[str, Any]]], Iterable[str]]
    uncertain: tuple[str, ...] = ()
    """The names of a row's amounts that have a standard uncertainty beside them."""


def add_options(parser: argparse.ArgumentParser) -> None:
    """Add CONFIG and what to show, and how."""
    add_config(parser)
    add_span(parser, since="30 d")
    parser.add_argument(
        "--depot", metavar="NAME", help="only this one; default: each of the config"
    )
    add_journal(parser)
    shape = parser.add_mutually_exclusive_group()
    shape.add_argument(
        "--json", action="store_true", help="one JSON object a line, in SI units and UTC"
    )
    shape.add_argument("--csv", action="store_true", help="the same as CSV, with a header")


def show(arguments: argparse.Namespace, table: Table) -> int:
    """Print the rows; 0, 1 where there are none, 2 where it can't be done as asked.

    Raises: ConfigMistakes.
    """
    settings = settings_of(arguments)
    found = 0
    writer: csv.DictWriter[str] | None = None
    try:
        plans = the_depots(settings, arguments.depot)
        now = now_in(arguments, settings)
        with Journal.open(settings.journal.path, read_only=True) as journal:
            for plan in plans:
                span = span_of(arguments.since, arguments.until, plan.zone, now)
                asked = Asked(Records(journal.handle), plan, span, now)
                rows = list(table.rows(asked))
                found += len(rows)
                if arguments.json:
                    for row in rows:
                        print(json.dumps(row, allow_nan=False))
                elif arguments.csv:
                    writer = _write_csv(rows, table.uncertain, writer)
                else:
                    print("\n".join(table.lines(asked, rows)))
    except (WhichDepot, NoTime, DiskTrouble, JournalUnusable) as why:
        print(why, file=sys.stderr)
        return MISASKED
    return WELL if found else NONE


def _write_csv(
    rows: Sequence[dict[str, Any]],
    uncertain: tuple[str, ...],
    writer: "csv.DictWriter[str] | None",
) -> "csv.DictWriter[str] | None":
    for row in rows:
        flat = flattened(row, uncertain)
        if writer is None:
            writer = csv.DictWriter(sys.stdout, list(flat), lineterminator="\n")
            writer.writeheader()
        writer.writerow(flat)
    return writer


def flattened(row: dict[str, Any], uncertain: tuple[str, ...] = ()) -> dict[str, Any]:
    """A row in which an interval is two columns, and so is an amount that is `uncertain`; what has
    names inside is JSON."""
    flat: dict[str, Any] = {}
    for name, value in row.items():
        if name == "interval_95":
            flat["low_95"], flat["high_95"] = value or (None, None)
        elif name in uncertain:
            what, _, unit = name.rpartition("_")
            flat[name], flat[f"{what}_standard_uncertainty_{unit}"] = value or (None, None)
        else:
            flat[name] = json.dumps(value) if isinstance(value, dict | list) else value
    return flat


def written(instant: Instant | None) -> str | None:
    """An instant for a program."""
    return None if instant is None else rfc3339_from_instant(instant)
