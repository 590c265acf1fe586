"""The command `brineward`: one word each for what an operator does."""

import argparse
import sys
from collections.abc import Callable, Sequence
from types import ModuleType
from typing import cast

from brineward import __version__
from brineward.commands import (
    alarms,
    backup,
    calibrate,
    check,
    curves,
    demo,
    handling,
    listen,
    mode,
    night,
    replay,
    report,
    restore,
    run,
    salinity,
    status,
    take,
    who,
)
from brineward.config.mistakes import ConfigMistakes

COMMANDS: tuple[ModuleType, ...] = (
    demo,
    run,
    check,
    listen,
    alarms,
    replay,
    status,
    take,
    handling,
    mode,
    who,
    night,
    report,
    salinity,
    calibrate,
    curves,
    backup,
    restore,
)

EPILOG = (
    "brineward watches; it never drives a pump or a valve. It is no substitute for hard-wired "
    "interlocks, local codes or licensed trades."
)


def parser() -> argparse.ArgumentParser:
    """The whole command line."""
    top = argparse.ArgumentParser(
        prog="brineward",
        description="Watches an unattended salt-brine depot and texts whoever is on call.",
        epilog=EPILOG,
    )
    top.add_argument("--version", action="version", version=f"brineward {__version__}")
    subparsers = top.add_subparsers(title="commands", metavar="COMMAND", required=True)
    for command in COMMANDS:
        command.add_parser(subparsers)
    return top


def main(arguments: Sequence[str] | None = None) -> int:
    """Run one command; returns its exit code (0 well, 1 something is wrong, 2 could not be run)."""
    args = parser().parse_args(arguments)
    command = cast(Callable[[argparse.Namespace], int], args.run)
    try:
        return command(args)
    except ConfigMistakes as mistakes:
        print(mistakes, file=sys.stderr)
        return 2
    except BrokenPipeError:
        # Whoever read our output has had enough; nothing is wrong.
        sys.stderr.close()
        return 0
    except KeyboardInterrupt:
        return 130
