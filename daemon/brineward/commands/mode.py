"""`brineward mode CONFIG [MODE]`: what a depot is being used for, and what that changes."""

import argparse
import json
import sys
from pathlib import Path

from brineward.commands.config_file import INSTALLED_CONFIG, config_and_others
from brineward.commands.local_clock import LocalClock
from brineward.commands.mode_lines import mode_line, mode_status
from brineward.commands.take import login, person_on_call
from brineward.commands.which_depot import WhichDepot, the_depot
from brineward.commands.which_journal import (
    OnlyRead,
    add_journal,
    now_in,
    refuse_entering,
    settings_of,
)
from brineward.config.settings import Settings
from brineward.journal import DiskTrouble, Journal, JournalUnusable, is_there
from brineward.plant.plan import DepotPlan
from brineward.readings.instants import Instant, local_from_instant, rfc3339_from_instant
from brineward.readings.modes import Mode
from brineward.service.mode_setting import mode_now, set_mode, step_text
from brineward.service.taking import on_call_at
from brineward.telling.mode_words import mode_sentences, quiet_at

WELL, MISASKED = 0, 2

_MODES = ", ".join(f'"{mode.value}"' for mode in Mode)


def add_parser(subparsers: "argparse._SubParsersAction[argparse.ArgumentParser]") -> None:
    """Add `mode` to the command line."""
    parser = subparsers.add_parser(
        "mode",
        help="what a depot is being used for: in service, laid up, ...; and what that changes",
        usage="%(prog)s [-h] [--depot NAME] [--by PERSON] [--single-batch | --refills] [--next] "
        "[--json] [--journal FILE] [CONFIG] [MODE]",
        description="Without MODE: the depot's mode, since when, who set it, and what it changes. "
        f"With MODE, one of {_MODES}, sets it. Alarms that are quiet in a mode are judged afresh "
        "when it ends. Ends with 0, and with 2 if it could not be done as asked.",
    )
    parser.add_argument(
        "words",
        metavar="MODE",
        nargs="*",
        help=f"first the config file, which ends in .toml (default: {INSTALLED_CONFIG}), then the "
        "mode",
    )
    parser.add_argument("--depot", metavar="NAME", help="where the config has several")
    parser.add_argument(
        "--by", metavar="PERSON", help="who sets it, on call there, by id or name; default: login"
    )
    batches = parser.add_mutually_exclusive_group()
    batches.add_argument(
        "--single-batch",
        action="store_const",
        const=True,
        dest="single_batch",
        help="one batch is wanted: a refill after it raises an alarm",
    )
    batches.add_argument(
        "--refills",
        action="store_const",
        const=False,
        dest="single_batch",
        help="refills are wanted; without either option it stays as it is",
    )
    parser.add_argument(
        "--next", action="store_true", help="only show the next step of filling up or draining"
    )
    parser.add_argument("--json", action="store_true", help="the same as JSON, times in UTC")
    add_journal(parser)
    parser.set_defaults(run=run)


class _Misasked(ValueError):
    """What was asked for can't be done; the text says why."""


def run(arguments: argparse.Namespace) -> int:
    """Show or set; 0, or 2 where it can't be done as asked."""
    file, words = config_and_others([Path(word) for word in arguments.words])
    settings = settings_of(arguments, file)
    try:
        _has_journal(settings)
        now = now_in(arguments, settings)
        plan = the_depot(settings, arguments.depot)
        mode = _mode(" ".join(str(word) for word in words), arguments.single_batch)
        if mode is not None:
            refuse_entering(arguments)
            _set(arguments, settings, plan, mode, now)
        _show(arguments, settings, plan, now)
    except (_Misasked, OnlyRead, WhichDepot, DiskTrouble, JournalUnusable) as why:
        print(why, file=sys.stderr)
        return MISASKED
    return WELL


def _mode(written: str, single_batch: bool | None) -> Mode | None:
    wanted = written.replace("-", " ").casefold()
    if not wanted and single_batch is not None:
        raise _Misasked("in which mode? Name it with --single-batch or --refills")
    if wanted and wanted not in set(Mode):
        raise _Misasked(f"{written[:40]!r} is not a mode; expected one of {_MODES}")
    return Mode(wanted) if wanted else None


def _has_journal(settings: Settings) -> None:
    if not is_there(settings.journal.path):
        raise _Misasked(f"There is no journal at {settings.journal.path} yet.")


def _set(
    arguments: argparse.Namespace, settings: Settings, plan: DepotPlan, mode: Mode, now: Instant
) -> None:
    wanted = arguments.by or login()
    by = person_on_call(plan, wanted)
    if by is None:
        who = f"{wanted} is" if wanted else "You are"
        raise _Misasked(
            f"{who} not on call at {plan.name}; say who sets it: --by {on_call_at(plan)}"
        )
    path, single_batch = settings.journal.path, arguments.single_batch
    set_mode(path, plan, mode, by=by, now=now, single_batch=single_batch)


def _show(arguments: argparse.Namespace, settings: Settings, plan: DepotPlan, now: Instant) -> None:
    with Journal.open(settings.journal.path, read_only=True) as journal:
        known, step = mode_now(journal, plan), step_text(journal, plan, now)
    due = plan.seasons.next_after(now, plan.zone)
    quiet = [record.id for record in quiet_at(plan, known.mode)]
    row = {"depot": plan.id, **mode_status(known), "quiet": quiet}
    row["next"] = None if due is None else [rfc3339_from_instant(due.at), due.mode.value]
    row["step"] = step.text if step.told else None
    if arguments.json:
        print(json.dumps(row, indent=2))
        return
    if arguments.next:
        print(step.text)
        return
    print(f"{plan.name}: {mode_line(plan, row, LocalClock(plan.zone, now))}")
    for sentence in mode_sentences(plan, known.mode, single_batch=known.single_batch):
        print(f"  {sentence}")
    if step.told:
        print(f"  {step.text}")
    if due is not None:
        day = local_from_instant(due.at, plan.zone)
        print(f"  By its schedule {due.mode.value} from {day:%Y-%m-%d %H:%M}.")
