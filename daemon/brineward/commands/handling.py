"""`brineward shelve`, `unshelve`, `out-of-service`, `back-in-service` and `reset`.

An alarm that is not active has no code: it is named DEPOT/ALARM/SOURCE, as `brineward alarms`
has it.
"""

import argparse
import sys
from typing import Final, NamedTuple

from pydantic_core import PydanticCustomError

from brineward.clock import MachineClock
from brineward.commands.config_file import add_config_option
from brineward.commands.take import depot_and_number, has_journal, who_is_it
from brineward.config.fields import quantity_in_si
from brineward.config.load import load_settings
from brineward.config.settings import Settings
from brineward.journal.trouble import DiskTrouble, JournalUnusable
from brineward.readings.entries import Handling, HandlingKind
from brineward.readings.instants import SECOND
from brineward.service.handling import handle


class _Command(NamedTuple):
    what: HandlingKind
    help: str
    description: str


_COMMANDS: Final = {
    "shelve": _Command(
        "shelve",
        "silence an alarm for a while",
        "Silences an alarm for a while: 24 hours at most, or what the config says; while its "
        "priority is high, 1 hour, or 20 minutes where a pump would be hot by then. It is still "
        "judged, and is announced again if it is still active at the end.",
    ),
    "unshelve": _Command(
        "unshelve",
        "end an alarm's shelving before its time",
        "Ends an alarm's shelving: it is announced again if it is still active.",
    ),
    "out-of-service": _Command(
        "out of service",
        "silence an alarm until it is put back, for a reason",
        "Silences an alarm while what it watches is being worked on. The first person on call is "
        "reminded of it once a week.",
    ),
    "back-in-service": _Command(
        "back in service",
        "put an alarm back that was out of service",
        "Puts an alarm back: it is announced again if it is active.",
    ),
    "reset": _Command(
        "reset",
        "reset a latched alarm once its cause has been dealt with",
        "A latched alarm stays after its condition has gone, until somebody resets it.",
    ),
}


def add_parser(subparsers: "argparse._SubParsersAction[argparse.ArgumentParser]") -> None:
    """Add all five to the command line."""
    for name, command in _COMMANDS.items():
        parser = subparsers.add_parser(name, help=command.help, description=command.description)
        parser.add_argument(
            "code", metavar="CODE", help="for example TH12, or tern-hollow/sensor-silent/level"
        )
        add_config_option(parser)
        if name == "shelve":
            parser.add_argument(
                "--for", dest="length", metavar="TIME", required=True, help='such as "2 h"'
            )
        parser.add_argument(
            "--why", default="", required=name == "out-of-service", help="the reason, for others"
        )
        parser.add_argument(
            "--by",
            metavar="PERSON",
            help="who says so, on call at that depot, by id or name; default: your login",
        )
        parser.set_defaults(run=run, command=name)


def run(args: argparse.Namespace) -> int:
    """Do it; exit code 0 when it was done, 1 when it can't be, 2 for a bad call."""
    settings = load_settings(args.config)
    named = _named(settings, args.code)
    if named is None:
        print(
            f"{args.code!r} is not a code; expected something like TH12, or DEPOT/ALARM/SOURCE",
            file=sys.stderr,
        )
        return 2
    depot, number, alarm, source = named
    seconds = _seconds(args.length) if args.command == "shelve" else 0.0
    plan = settings.depots[depot]
    by = None if seconds is None else who_is_it(plan, args.by, "says so")
    if seconds is None or by is None or not has_journal(settings):
        return 2
    now = MachineClock().now()
    act = Handling(
        depot=depot,
        time=now,
        received=now,
        what=_COMMANDS[args.command].what,
        number=number,
        alarm=alarm,
        source=source,
        by=by,
        until=now + round(seconds * SECOND) if seconds else 0,
        why=args.why[:_LONGEST_WHY],
    )
    try:
        handled = handle(settings.journal.path, plan, act)
    except (JournalUnusable, DiskTrouble) as why:
        print(why, file=sys.stderr)
        return 2
    print(handled.sentence)
    return 0 if handled.done else 1


_LONGEST_WHY: Final = 200


def _named(settings: Settings, code: str) -> tuple[str, int, str, str] | None:
    """Depot, number, alarm and source that a code or DEPOT/ALARM/SOURCE names."""
    found = depot_and_number(settings, code)
    if found is not None:
        return (*found, "", "")
    parts = code.split("/")
    if len(parts) == 3 and parts[0] in settings.depots:
        return parts[0], 0, parts[1], parts[2]
    return None


def _seconds(length: str) -> float | None:
    """A length of time in seconds; None where it is none, and says so."""
    try:
        seconds = quantity_in_si(length, "duration")
    except PydanticCustomError as refusal:
        print(f"--for: {refusal.message()}; expected a time such as 2 h", file=sys.stderr)
        return None
    if 0 < seconds <= _LONGEST:
        return seconds
    print(f"--for: {length} is not a time for which an alarm can be shelved", file=sys.stderr)
    return None


_LONGEST: Final = 366 * 86_400
