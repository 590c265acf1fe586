"""`brineward restore [CONFIG] BACKUP`: a copy of the journal put back in its place."""

import argparse
import sys
from pathlib import Path

from brineward.clock import MachineClock
from brineward.commands.config_file import add_config
from brineward.config.load import load_settings
from brineward.config.mistakes import ConfigMistakes, written_file
from brineward.journal import DiskTrouble, JournalUnusable, restore
from brineward.service.under_way import forget

DONE, FAILED = 0, 2


def add_parser(subparsers: "argparse._SubParsersAction[argparse.ArgumentParser]") -> None:
    """Add `restore` to the command line."""
    parser = subparsers.add_parser(
        "restore",
        help="put a copy of the journal back, while no service runs",
        description="Checks a copy that `brineward backup` made and puts it in the journal's "
        "place. Nothing is deleted: the journal that was there is set aside beside "
        "it, with the time (UTC) in its name. Refused while a service runs with this "
        "journal. What came after the copy was made is not in it; alarms that were "
        "raised after it are numbered again.",
    )
    add_config(parser)
    parser.add_argument("backup", type=Path, metavar="BACKUP", help="the copy")
    parser.set_defaults(run=run)


def run(arguments: argparse.Namespace) -> int:
    """Put it back; 0 where it is in place, 2 where it is not and the journal is as it was."""
    try:
        settings = load_settings(arguments.config)
        path = settings.journal.path
        aside = restore(path, arguments.backup, MachineClock().now())
        forget(path)
    except (ConfigMistakes, DiskTrouble, JournalUnusable) as trouble:
        print(trouble, file=sys.stderr)
        return FAILED
    print(f"{written_file(path)}: put back from {written_file(arguments.backup)}, checked.")
    if aside is not None:
        print(f"The journal before is {written_file(aside)}.")
    return DONE
