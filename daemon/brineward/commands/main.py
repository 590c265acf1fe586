"""The command `brineward`: one word for each thing that an operator does."""

import argparse
import sys
from collections.abc import Callable, Sequence
from importlib import import_module
from typing import cast

from brineward import __version__
from brineward.config.mistakes import ConfigMistakes

COMMANDS: tuple[str, ...] = (
    "demo",
    "run",
    "check",
    "listen",
    "alarms",
    "replay",
    "status",
    "take",
    "handling",
    "mode",
    "who",
    "drill",
    "night",
    "record",
    "loads",
    "batches",
    "balance",
    "settings",
    "report",
    "page",
    "export",
    "salinity",
    "calibrate",
    "curves",
    "backup",
    "restore",
)
"""The modules of this package that add a command or several, in the order of the help."""

_NAMED_ALIKE = frozenset(COMMANDS) - {"handling"}
"""Those that add the one command of their name."""

EPILOG = (
    "brineward watches; it never drives a pump or a valve. It is no substitute for hard-wired "
    "interlocks, local codes or licensed trades."
)


def parser(asked: str = "") -> argparse.ArgumentParser:
    """The whole command line, or no more of it than the command that is `asked`.

    To import the modules of all of them takes longer than most commands do.
    """
    top = argparse.ArgumentParser(
        prog="brineward",
        description="Watches an unattended salt-brine depot and texts whoever is on call.",
        epilog=EPILOG,
    )
    top.add_argument("--version", action="version", version=f"brineward {__version__}")
    subparsers = top.add_subparsers(title="commands", metavar="COMMAND", required=True)
    for command in (asked,) if asked in _NAMED_ALIKE else COMMANDS:
        import_module(f"{__package__}.{command}").add_parser(subparsers)
    return top


def _parsed(options: argparse.ArgumentParser, arguments: Sequence[str]) -> argparse.Namespace:
    """The arguments of a command; words may also follow an option.

    argparse takes all words at the first of them: `record CONFIG --by yard salt 20 tons` would be
    refused.
    """
    args, rest = options.parse_known_args(arguments)
    if rest and (any(one.startswith("-") for one in rest) or not hasattr(args, "words")):
        options.error(f"unrecognized arguments: {' '.join(rest)}")
    if rest:
        args.words = [*args.words, *rest]
    return args


def main(arguments: Sequence[str] | None = None) -> int:
    """Run one command; returns its exit code (0 well, 1 something is wrong, 2 could not be run)."""
    arguments = sys.argv[1:] if arguments is None else arguments
    args = _parsed(parser(arguments[0] if arguments else ""), arguments)
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
