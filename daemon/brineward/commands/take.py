"""`brineward take CODE`: somebody has an alarm, and the others can sleep on."""

import argparse
import getpass
import sys

from brineward.clock import MachineClock
from brineward.commands.config_file import add_config_option
from brineward.config.load import load_settings
from brineward.config.settings import Settings
from brineward.journal.trouble import DiskTrouble, JournalUnusable
from brineward.readings.entries import Act
from brineward.service.taking import take


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
    parser.add_argument("--by", metavar="PERSON", help="who has it; default: your login")
    parser.set_defaults(run=run)


def run(args: argparse.Namespace) -> int:
    """Take it; exit code 0 when there was something to take, 1 when not, 2 for a bad call."""
    settings = load_settings(args.config)
    found = depot_and_number(settings, args.code)
    if found is None:
        shorts = " or ".join(f"{plan.short}12" for plan in settings.depots.values())
        print(f"{args.code!r} is no code; expected something like {shorts}", file=sys.stderr)
        return 2
    depot, number = found
    try:
        return _take(settings, depot, number, args.by or getpass.getuser())
    except (JournalUnusable, DiskTrouble) as why:
        print(why, file=sys.stderr)
        return 2


def depot_and_number(settings: Settings, code: str) -> tuple[str, int] | None:
    """The depot and the occurrence that a code such as `TH12` names; None where it is no code."""
    letters = code.strip().upper().rstrip("0123456789")
    digits = code.strip()[len(letters) :]
    for plan in settings.depots.values():
        if letters == plan.short and digits.isdecimal():
            return plan.id, int(digits)
    return None


def _take(settings: Settings, depot: str, number: int, by: str) -> int:
    code = f"{settings.depots[depot].short}{number}"
    now = MachineClock().now()
    fields: dict[str, str | int] = {"number": number, "by": by}
    act = Act(depot=depot, time=now, received=now, act="take", fields=fields)
    taking = take(settings.journal.path, act)
    print(f"{code} is {'yours: ' if taking.taken else ''}{taking.sentence}.")
    return 0 if taking.taken else 1
