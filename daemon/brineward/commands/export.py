"""`brineward export CONFIG -o FILE`: any series, any time, exactly as the journal has it."""

import argparse
import sys
from pathlib import Path

from brineward.commands.config_file import add_config
from brineward.commands.span import NoTime, add_span, span_of
from brineward.commands.which_journal import add_journal, now_in, settings_of
from brineward.config.settings import Settings
from brineward.export.files import FORMS, NoExport, write
from brineward.journal import DiskTrouble, Journal, JournalDamaged, JournalUnusable
from brineward.plant.plan import DepotPlan
from brineward.records import Records
from brineward.records.bulk import Wanted


def add_parser(subparsers: "argparse._SubParsersAction[argparse.ArgumentParser]") -> None:
    """Add `export` to the command line."""
    parser = subparsers.add_parser(
        "export",
        help="readings and strengths of any time as a file: CSV, Parquet or SenML",
        description="Writes readings and what was worked out from them, in SI units and UTC, in "
        "the order in which they arrived: the numbers of the journal to the last bit. SenML holds "
        "readings alone, and `brineward replay` reads it back.",
    )
    add_config(parser)
    parser.add_argument(
        "-o", "--output", type=Path, required=True, metavar="FILE",
        help=f"its name ends in {', '.join(FORMS)}; - is CSV to the standard output",
    )  # fmt: skip
    add_span(parser, since="30 d")
    parser.add_argument("--depot", metavar="NAME", help="only this one; default: each")
    parser.add_argument(
        "--series", action="append", default=[], metavar="NAME",
        help="only this sensor or derived value (main-strength); may be given again",
    )  # fmt: skip
    parser.add_argument(
        "--what", choices=("all", "readings", "derived"), default="all",
        help="default: all",
    )  # fmt: skip
    add_journal(parser)
    parser.set_defaults(run=run)


def run(args: argparse.Namespace) -> int:
    """Write the file; 0, 1 where there was nothing to write, 2 with a sentence where it can't be.

    Raises: ConfigMistakes where the file has some.
    """
    settings = settings_of(args)
    plans = {name: plan for name, plan in settings.depots.items() if args.depot in (None, name)}
    if not plans:
        print(f"which depot? --depot {' or '.join(settings.depots)}", file=sys.stderr)
        return 2
    try:
        return _write(args, settings, plans)
    except (NoTime, NoExport, DiskTrouble, JournalDamaged, JournalUnusable) as why:
        print(why, file=sys.stderr)
        return 2


def _write(args: argparse.Namespace, settings: Settings, plans: dict[str, DepotPlan]) -> int:
    now = now_in(args, settings)
    zone = next(iter(plans.values())).zone
    span = span_of(args.since, args.until, zone, now)
    wanted = Wanted(
        depots=frozenset(plans), names=frozenset(args.series), start=span.start, end=span.end
    )
    with Journal.open(settings.journal.path, read_only=True) as journal:
        records = Records(journal.handle)
        written = write(records, plans, wanted, args.output, args.what)
        thinned = records.bulk.thinned(wanted)
    print(f"{written.rows:,} rows written to {args.output}", file=sys.stderr)
    if written.left_out:
        print(f"{written.left_out:,} readings without a value are left out", file=sys.stderr)
    if thinned:
        print(
            f"{thinned:,} hours of single sensors were thinned to their sums and are not in it",
            file=sys.stderr,
        )
    return 0 if written.rows else 1
