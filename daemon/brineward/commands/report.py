"""`brineward report CONFIG PERIOD`: a night, week, month or season on one page."""

import argparse
import sys
from pathlib import Path

from brineward.commands.config_file import add_config
from brineward.commands.span import NoTime, span_of
from brineward.commands.which_depot import WhichDepot, the_depot
from brineward.commands.which_journal import add_journal, now_in, settings_of
from brineward.export.whole_file import NoFile
from brineward.journal import DiskTrouble, Journal, JournalDamaged, JournalUnusable
from brineward.plant.plan import DepotPlan
from brineward.readings.instants import Instant
from brineward.records import Records
from brineward.reports import figures
from brineward.reports.contents import Report
from brineward.reports.files import FORMS, write
from brineward.reports.gather import gather
from brineward.reports.period import Period, PeriodKind, between, period_of


def add_parser(subparsers: "argparse._SubParsersAction[argparse.ArgumentParser]") -> None:
    """Add `report` to the command line."""
    parser = subparsers.add_parser(
        "report",
        help="a night, week, month or season on one page, to read, print or add up",
        description="Makes a report of one depot from the journal: levels, strength with its "
        "interval and its tests, loads, alarms and what was used. Without --since it "
        "covers the last complete night (16:00 to 08:00), week (from Monday) or "
        "month, or the current season (from July). Without -o it prints a summary.",
    )
    add_config(parser)
    parser.add_argument("period", choices=[kind.value for kind in PeriodKind], metavar="PERIOD",
                        help="night, week, month or season")  # fmt: skip
    parser.add_argument(
        "-o", "--output", type=Path, metavar="FILE",
        help=f"the file to write; its name ends in {', '.join(FORMS)}",
    )  # fmt: skip
    add_journal(parser)
    parser.add_argument("--depot", help="which depot; needed if the config has several")
    parser.add_argument("--since", metavar="TIME", help="from when, instead of the usual period")
    parser.add_argument("--until", metavar="TIME", help="to when; default with --since: now")
    parser.set_defaults(run=run)


def run(args: argparse.Namespace) -> int:
    """Make the report; 0, or 2 with a sentence where that can't be.

    Raises: ConfigMistakes where the file has some.
    """
    settings = settings_of(args)
    try:
        now = now_in(args, settings)
        plan = the_depot(settings, args.depot)
        period = _period(args, plan, now)
        with Journal.open(settings.journal.path, read_only=True) as journal:
            report = gather(plan, Records(journal.handle), period, now)
        if args.output is None:
            print("\n".join(_lines(report)))
        else:
            write(report, args.output)
            print(f"{figures.heading(report)}: written to {args.output}")
    except (WhichDepot, NoTime, NoFile, DiskTrouble, JournalDamaged, JournalUnusable) as why:
        print(why, file=sys.stderr)
        return 2
    return 0


def _period(args: argparse.Namespace, plan: DepotPlan, now: Instant) -> Period:
    """Raises: NoTime."""
    kind = PeriodKind(args.period)
    if args.since is None:
        if args.until is not None:
            raise NoTime("--until needs --since")
        return period_of(kind, now, plan.zone)
    span = span_of(args.since, args.until, plan.zone, now)
    return between(kind, span.start, min(span.end, now), plan.zone)


def _lines(report: Report) -> list[str]:
    """The sum of it, for a terminal."""
    lines = [figures.heading(report), figures.stretch(report), "", *figures.summary(report), ""]
    found = figures.figures(report)
    width = max(len(one.name) for one in found)
    return [*lines, *(f"{one.name:<{width}}  {one.value}" for one in found)]
