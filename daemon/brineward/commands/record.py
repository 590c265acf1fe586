"""`brineward record CONFIG WORDS`: a load, a delivery, a batch's acceptance, ..., in one line."""

import argparse
import csv
import json
import sys
from collections.abc import Sequence
from pathlib import Path
from typing import Any, Final

from brineward.commands.config_file import INSTALLED_CONFIG
from brineward.commands.local_clock import LocalClock
from brineward.commands.span import NoTime, Span, instant_of, span_of
from brineward.commands.take import has_journal, who_is_it
from brineward.commands.which_depot import WhichDepot, the_depot
from brineward.commands.which_journal import (
    OnlyRead,
    add_journal,
    now_in,
    refuse_entering,
    settings_of,
)
from brineward.config.settings import Settings
from brineward.decode.by_hand import EXPECTED, RefusedRecord, record_from_words
from brineward.journal import DiskTrouble, Journal, JournalUnusable
from brineward.plant.plan import DepotPlan
from brineward.readings.by_hand import Struck
from brineward.readings.entries import HandRecord
from brineward.readings.instants import Instant, rfc3339_from_instant
from brineward.records.by_hand import HandEntry
from brineward.service.recording import enter, entered
from brineward.wording.by_hand import sentence_of

COLUMNS: Final = ("depot", "number", "at", "by", "kind", "what", "corrects", "why", "replaced_by")


def add_parser(subparsers: "argparse._SubParsersAction[argparse.ArgumentParser]") -> None:
    """Add `record` to the command line."""
    parser = subparsers.add_parser(
        "record",
        help="enter a load, a delivery, a batch's acceptance, settings, upkeep; or list them",
        usage="%(prog)s [-h] [--depot NAME] [--by PERSON] [--at TIME]\n"
        "       [--corrects NUMBER --why TEXT]\n"
        "       [--list [--since TIME] [--until TIME] [--json | --csv] [--journal FILE]]\n"
        "       [CONFIG] [WORDS ...]",
        description=f"Enters one record in one line; it begins with {EXPECTED}. For example: "
        "'load 1200 gal truck 7 driver Sam to Route 9', 'salt 20 tons', 'water 123456 gal' (what "
        "the meter shows), 'accepted', 'rejected cloudy', 'settings feed=3.5 bypass=2' (marks of "
        "the blend valves), 'inspected hose valve', 'remark hose replaced'. Nothing is ever "
        "erased: a correction takes an earlier record's place, and both are kept. 'strike' with "
        "--corrects takes one out. The same words can be texted after the depot's letters.",
    )
    parser.add_argument(
        "words", nargs="*", metavar="WORDS", help="the config file, then the record"
    )
    parser.add_argument("--depot", metavar="NAME", help="where the config has several")
    parser.add_argument(
        "--by", metavar="PERSON", help="who enters it, by id or name; default: your login"
    )
    parser.add_argument(
        "--at", metavar="TIME", help="when it was done; default: now, or as before for a correction"
    )
    parser.add_argument(
        "--corrects",
        type=int,
        default=0,
        metavar="NUMBER",
        help="the earlier record that it replaces",
    )
    parser.add_argument("--why", default="", help="why the earlier one was wrong")
    parser.add_argument("--list", action="store_true", help="show what was entered")
    parser.add_argument(
        "--since", default="30 d", metavar="TIME", help="with --list; default: 30 d"
    )
    parser.add_argument("--until", metavar="TIME", help="with --list; default: now")
    add_journal(parser)
    form = parser.add_mutually_exclusive_group()
    form.add_argument("--json", action="store_true", help="with --list: an object a line, SI")
    form.add_argument("--csv", action="store_true", help="with --list: rows, SI")
    parser.set_defaults(run=run)


def run(args: argparse.Namespace) -> int:
    """Enter or list; 0, 1 where it can't be entered, 2 where it was not understood.

    Raises: ConfigMistakes where the file has some.
    """
    file, words = INSTALLED_CONFIG, args.words
    if words and words[0].endswith(".toml"):
        file, words = Path(words[0]), words[1:]
    settings = settings_of(args, file)
    said = " ".join(words)
    try:
        now = now_in(args, settings)
        plan = the_depot(settings, args.depot)
        if args.list:
            return _list(args, settings, plan, now)
        refuse_entering(args)
        return _enter(args, settings, plan, said, now)
    except (WhichDepot, OnlyRead, NoTime, RefusedRecord, DiskTrouble, JournalUnusable) as why:
        print(why, file=sys.stderr)
        return 2


def _enter(
    args: argparse.Namespace, settings: Settings, plan: DepotPlan, said: str, now: Instant
) -> int:
    """Raises: NoTime, RefusedRecord, DiskTrouble, JournalUnusable."""
    strikes = said.strip().casefold() == "strike"
    record = Struck() if strikes else record_from_words(said, plan)
    if bool(args.corrects) != bool(args.why.strip()):
        raise RefusedRecord("a correction says which: --corrects NUMBER, and --why it was wrong")
    by = who_is_it(plan, args.by, "enters it")
    if by is None or not has_journal(settings):
        return 2
    at = now if args.at is None else instant_of(args.at, plan.zone, now)
    if at > now:
        raise NoTime(f"--at {args.at!r} is still to come")
    entry = HandRecord(
        depot=plan.id, time=now, received=now, at=at, record=record, by=by,
        corrects=args.corrects, why=args.why[:200],
    )  # fmt: skip
    result = enter(settings.journal.path, plan, entry, says_when=args.at is not None)
    print(result.sentence, file=sys.stdout if result.done else sys.stderr)
    return 0 if result.done else 1


def _list(args: argparse.Namespace, settings: Settings, plan: DepotPlan, now: Instant) -> int:
    """Raises: NoTime, DiskTrouble, JournalUnusable."""
    span = span_of(args.since, args.until, plan.zone, now)
    with Journal.open(settings.journal.path, read_only=True) as journal:
        found = [one for one in entered(journal, plan) if _within(one, span)]
    if args.json:
        for one in found:
            print(json.dumps(_as_row(one, plan) | _fields(one)))
    elif args.csv:
        writer = csv.writer(sys.stdout, lineterminator="\n")
        writer.writerow(COLUMNS)
        writer.writerows(_as_row(one, plan).values() for one in found)
    else:
        print("\n".join(_lines(found, plan, now)))
    return 0


def _within(one: HandEntry, span: Span) -> bool:
    return span.start <= one.entry.at < span.end


def _as_row(one: HandEntry, plan: DepotPlan) -> dict[str, Any]:
    entry = one.entry
    values = (
        entry.depot, one.number, rfc3339_from_instant(entry.at), entry.by, entry.record.kind,
        sentence_of(entry.record, plan.units), entry.corrects, entry.why, one.replaced_by,
    )  # fmt: skip
    return dict(zip(COLUMNS, values, strict=True))


def _fields(one: HandEntry) -> dict[str, Any]:
    """What the record itself holds, in SI."""
    record = one.entry.record
    return {name: getattr(record, name) for name in type(record).__slots__ if name != "kind"}


def _lines(found: Sequence[HandEntry], plan: DepotPlan, now: Instant) -> list[str]:
    if not found:
        return [f"{plan.name}: nothing was entered in this time."]
    clock = LocalClock(plan.zone, now)
    lines = []
    for one in found:
        entry = one.entry
        who = f", {plan.name_of(entry.by)}" if entry.by else ""
        state = f" (corrected by {one.replaced_by})" if one.replaced_by else ""
        instead = f" [instead of {entry.corrects}: {entry.why}]" if entry.corrects else ""
        said = sentence_of(entry.record, plan.units)
        lines.append(
            f"{one.number:>4}  {clock.day_and_time(entry.at)}{who}: {said}{instead}{state}"
        )
    return lines
