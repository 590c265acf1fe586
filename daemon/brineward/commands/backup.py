"""`brineward backup CONFIG`: a checked copy of the journal, made while the service runs."""

import argparse
import sys
from pathlib import Path

from tqdm import tqdm

from brineward.clock import MachineClock
from brineward.commands.config_file import add_config
from brineward.config.load import load_settings
from brineward.config.mistakes import ConfigMistakes, written_file
from brineward.journal import DiskTrouble, Journal, JournalUnusable, TargetExists
from brineward.readings.instants import rfc3339_from_instant

DONE, FAILED = 0, 2

_QUIET_SECONDS = 2.0  # a copy that takes no longer needs no progress bar


def add_parser(subparsers: "argparse._SubParsersAction[argparse.ArgumentParser]") -> None:
    """Add `backup` to the command line."""
    parser = subparsers.add_parser(
        "backup",
        help="copy the journal to another file, also while the service runs",
        description="Copies the journal to a new file and checks the copy. The service may be "
        "running. An existing file is never overwritten. To put a copy back: stop "
        "the service, then `brineward restore`.",
    )
    add_config(parser)
    parser.add_argument(
        "-o",
        "--output",
        type=Path,
        metavar="FILE",
        help="the copy's name; default: the journal's with the time (UTC) at its end",
    )
    parser.set_defaults(run=run)


def run(arguments: argparse.Namespace) -> int:
    """Make the copy; 0 where it is made and whole, 2 where it is not."""
    try:
        settings = load_settings(arguments.config)
        source = settings.journal.path
        target = arguments.output or named_by_time(source, MachineClock().now())
        with Journal.open(source, read_only=True) as journal:
            size = _copy(journal, target)
    except (ConfigMistakes, DiskTrouble, JournalUnusable, TargetExists) as trouble:
        print(trouble, file=sys.stderr)
        return FAILED
    print(f"{written_file(target)}: {size:,} bytes, checked.")
    return DONE


def named_by_time(journal: Path, now: int) -> Path:
    """A copy's name beside the journal: `depot-20260101T120000Z.journal`."""
    stamp = rfc3339_from_instant(now // 1000 * 1000).replace("-", "").replace(":", "")
    return journal.with_name(f"{journal.stem}-{stamp}{journal.suffix}")


def _copy(journal: Journal, target: Path) -> int:
    with tqdm(
        desc="copying",
        unit=" pages",
        unit_scale=True,
        delay=_QUIET_SECONDS,
        leave=False,
        disable=None,  # no bar in the mail of a nightly job
    ) as bar:

        def progress(copied: int, pages: int) -> None:
            bar.total = pages
            bar.update(copied - bar.n)

        return journal.copying.backup(target, progress)
