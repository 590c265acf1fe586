"""`brineward take CODE`: somebody takes an alarm, and the others can sleep on."""

import argparse
import getpass
import re
import sys

from brineward.clock import MachineClock
from brineward.commands.config_file import add_config_option
from brineward.config.load import load_settings
from brineward.config.settings import Settings
from brineward.journal import DiskTrouble, JournalUnusable, is_there
from brineward.plant.plan import DepotPlan
from brineward.readings.entries import Handling, Take
from brineward.service.handling import handle
from brineward.service.taking import on_call_at, take


def add_parser(subparsers: "argparse._SubParsersAction[argparse.ArgumentParser]") -> None:
    """Add `take` to the command line."""
    parser = subparsers.add_parser(
        "take",
        help="take an alarm: you have it, nobody else is woken",
        description="Acknowledges an alarm by the code that stands first in its text, such as "
        "TH12. `brineward status` lists the codes.",
    )
    parser.add_argument("code", metavar="CODE", help="for example TH12")
    add_config_option(parser)
    parser.add_argument(
        "--by",
        metavar="PERSON",
        help="who has it, on call at that depot, by id or name; default: your login",
    )
    parser.add_argument(
        "--undo",
        action="store_true",
        help="hand it back: whoever took it can't deal with it after all, and the next person is "
        "called",
    )
    parser.set_defaults(run=run)


def run(args: argparse.Namespace) -> int:
    """Take it; exit code 0 when there was something to take, 1 when not, 2 for a bad call."""
    settings = load_settings(args.config)
    found = depot_and_number(settings, args.code)
    if found is None:
        shorts = " or ".join(f"{plan.short}12" for plan in settings.depots.values())
        print(f"{args.code!r} is not a code; expected something like {shorts}", file=sys.stderr)
        return 2
    depot, number = found
    plan = settings.depots[depot]
    by = who_is_it(plan, args.by)
    if by is None or not has_journal(settings):
        return 2
    try:
        if args.undo:
            return _hand_back(settings, plan, number, by)
        return _take(settings, plan, number, by)
    except (JournalUnusable, DiskTrouble) as why:
        print(why, file=sys.stderr)
        return 2


def who_is_it(plan: DepotPlan, said: str | None, does: str = "has it") -> str | None:
    """Who on call gives a command, by what was said or by login; None for nobody, and says so."""
    wanted = said or login()
    by = person_on_call(plan, wanted)
    if by is None:
        who = f"{wanted} is" if wanted else "You are"
        print(
            f"{who} not on call at {plan.name}; say who {does}: --by {on_call_at(plan)}",
            file=sys.stderr,
        )
    return by


def has_journal(settings: Settings) -> bool:
    """Is there a journal to act on? Says so where not."""
    try:
        found = is_there(settings.journal.path)
    except JournalUnusable as why:
        print(why, file=sys.stderr)
        return False
    if not found:
        print(f"There is no journal at {settings.journal.path} yet.", file=sys.stderr)
    return found


def depot_and_number(settings: Settings, code: str) -> tuple[str, int] | None:
    """The depot and the occurrence that a code such as `TH12` names; None where it is no code."""
    for plan in settings.depots.values():
        found = re.fullmatch(rf"{plan.short}[ -]?([0-9]{{1,9}})", code.strip().upper())
        if found is not None:
            return plan.id, int(found[1])
    return None


def login() -> str:
    """Who is logged in; empty where this machine does not know."""
    try:
        return getpass.getuser()
    except (KeyError, OSError):  # nobody of this number, as in a container
        return ""


def person_on_call(plan: DepotPlan, wanted: str) -> str | None:
    """The id of who is on call at the depot and has this id, or this name; None for nobody."""
    if wanted in plan.duty.on_call:
        return wanted
    names = {id_: plan.duty.names.get(id_, id_).casefold() for id_ in plan.duty.on_call}
    found = [id_ for id_, name in names.items() if name == wanted.strip().casefold()]
    return found[0] if len(found) == 1 else None


def _take(settings: Settings, plan: DepotPlan, number: int, by: str) -> int:
    now = MachineClock().now()
    act = Take(depot=plan.id, time=now, received=now, number=number, by=by)
    taking = take(settings.journal.path, plan, act)
    name = plan.duty.names.get(by, by)
    begin = f"{name} has {plan.short}{number} now: " if taking.done else ""
    print(f"{begin}{taking.sentence}")
    return 0 if taking.done else 1


def _hand_back(settings: Settings, plan: DepotPlan, number: int, by: str) -> int:
    now = MachineClock().now()
    act = Handling(depot=plan.id, time=now, received=now, what="hand back", number=number, by=by)
    handled = handle(settings.journal.path, plan, act)
    print(handled.sentence)
    return 0 if handled.done else 1
