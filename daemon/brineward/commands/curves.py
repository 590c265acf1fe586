"""`brineward curves`: the reference plot, from the physics, with the published points."""

import argparse
import sys
from pathlib import Path

DRAWN, NOT_DRAWN = 0, 2


def add_parser(subparsers: "argparse._SubParsersAction[argparse.ArgumentParser]") -> None:
    """Add `curves` to the command line."""
    parser = subparsers.add_parser(
        "curves",
        help="draw conductivity against strength, and where ice and crystals form",
        description="Draws the curves that the service uses, with every published point.",
    )
    parser.add_argument(
        "-o",
        "--output",
        type=Path,
        default=Path("brine-curves.png"),
        metavar="FILE",
        help="where to draw it: .png, .svg or .pdf (default: brine-curves.png)",
    )
    parser.set_defaults(run=run)


def run(arguments: argparse.Namespace) -> int:
    """Draw the plot; 0, or 2 with a sentence where it can't be drawn or written."""
    try:
        from brineward.commands.curves_picture import picture  # noqa: PLC0415 - an extra draws it

        picture().savefig(arguments.output, dpi=130)
    except ModuleNotFoundError as missing:
        if (missing.name or "").split(".")[0] != "matplotlib":
            raise
        print(_remedy(), file=sys.stderr)
        return NOT_DRAWN
    except (OSError, ValueError) as refusal:  # no such folder, no room, an unknown kind of picture
        print(f"{arguments.output} can't be drawn: {refusal}", file=sys.stderr)
        return NOT_DRAWN
    print(f"Drawn: {arguments.output}")
    return DRAWN


def _remedy() -> str:
    # With this Python's own pip: brineward may live in an environment that is not the shell's.
    return (
        "curves need matplotlib, which is not installed here. Run this, then ask again:"
        f" {sys.executable} -m pip install matplotlib"
    )
