"""`brineward night CONFIG`: what happened last night, as a person would describe it."""

import argparse
import json
import sys
from collections.abc import Iterator
from dataclasses import asdict
from datetime import date, datetime, time, timedelta, tzinfo

from brineward.commands.config_file import add_config
from brineward.commands.span import NoTime
from brineward.commands.which_depot import WhichDepot, the_depot
from brineward.commands.which_journal import add_journal, now_in, settings_of
from brineward.journal import DiskTrouble, Journal, JournalDamaged, JournalUnusable
from brineward.plant.plan import DepotPlan
from brineward.readings.instants import SECOND, Instant, local_from_instant, rfc3339_from_instant
from brineward.records import Records
from brineward.records.night import Night, night_of
from brineward.reports.period import PeriodKind, between, period_of

_DUSK, _DAWN = time(16), time(8)


def add_parser(subparsers: "argparse._SubParsersAction[argparse.ArgumentParser]") -> None:
    """Add `night` to the command line."""
    parser = subparsers.add_parser(
        "night",
        help="tell last night's story: plant, alarms, who was texted, who took it",
        description="Tells from the journal what happened at a depot in the last complete night, "
        "from 16:00 to 08:00 depot time, or in the night that began on --date.",
    )
    add_config(parser)
    parser.add_argument("--depot", help="which depot; needed if the config has several")
    parser.add_argument("--date", metavar="DAY", help="the evening's day, such as 2026-01-14")
    parser.add_argument("--json", action="store_true", help="the same as JSON, times in UTC")
    add_journal(parser)
    parser.set_defaults(run=run)


def run(args: argparse.Namespace) -> int:
    """Tell the night; 0, or 2 with a sentence where that can't be.

    Raises: ConfigMistakes where the file has some.
    """
    settings = settings_of(args)
    try:
        now = now_in(args, settings)
        plan = the_depot(settings, args.depot)
        start, end = _span(args.date, plan.zone, now)
        with Journal.open(settings.journal.path, read_only=True) as journal:
            night = night_of(plan, Records(journal.handle), start, end)
    except (WhichDepot, NoTime, DiskTrouble, JournalDamaged, JournalUnusable) as why:
        print(why, file=sys.stderr)
        return 2
    if args.json:
        print(json.dumps(_written(night), indent=2))
    else:
        print("\n".join(_lines(plan, night)))
    return 0


def _span(day: str | None, zone: tzinfo, now: Instant) -> tuple[Instant, Instant]:
    """Raises: NoTime."""
    if day is None:
        last = period_of(PeriodKind.NIGHT, now, zone)
        return last.start, last.end
    try:
        evening = date.fromisoformat(day)
    except ValueError:
        raise NoTime(f"--date {day!r} is not a day; expected one such as 2026-01-14") from None
    start = datetime.combine(evening, _DUSK, tzinfo=zone)
    end = datetime.combine(evening + timedelta(days=1), _DAWN, tzinfo=zone)
    begins, ends = (round(one.timestamp() * SECOND) for one in (start, end))
    if begins >= now:
        raise NoTime(f"the night of {day} has not begun")
    return begins, min(ends, now)


def _lines(plan: DepotPlan, night: Night) -> Iterator[str]:
    period = between(PeriodKind.NIGHT, night.start, night.end, plan.zone)
    yield f"{plan.name}: {period.title}. {night.sum}"
    if night.lines:
        yield ""
    for line in night.lines:
        yield f"  {local_from_instant(line.time, plan.zone):%H:%M}  {line.sentence}"


def _written(night: Night) -> dict[str, object]:
    written = asdict(night) | {"sum": night.sum}
    written["start"], written["end"] = map(rfc3339_from_instant, (night.start, night.end))
    written["lines"] = [
        asdict(line) | {"time": rfc3339_from_instant(line.time)} for line in night.lines
    ]
    return written
