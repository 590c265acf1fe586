"""`--journal FILE`: another journal than the config's, such as a recorded run's."""

import argparse
from dataclasses import replace
from pathlib import Path

from brineward.clock import MachineClock
from brineward.config.load import load_settings
from brineward.config.settings import Settings
from brineward.journal import Journal
from brineward.readings.instants import Instant
from brineward.records import Records


class OnlyRead(ValueError):
    """Something was to be entered into a journal that was named; the text says so."""


def add_journal(parser: argparse.ArgumentParser) -> None:
    """Add --journal to a command that tells from the records: each of them has it."""
    parser.add_argument(
        "--journal",
        type=Path,
        metavar="FILE",
        help="read this journal instead of the config's, such as one that `replay --journal` made; "
        "now is then its newest reading's time",
    )


def refuse_entering(arguments: argparse.Namespace) -> None:
    """A journal that was named is read only: no service would take what is entered into it.

    Raises: OnlyRead.
    """
    if arguments.journal is not None:
        raise OnlyRead("--journal is for looking: what is entered goes into the config's journal")


def settings_of(arguments: argparse.Namespace, config: Path | None = None) -> Settings:
    """The config, with the journal that was named in place of its own. Raises: ConfigMistakes."""
    settings = load_settings(arguments.config if config is None else config)
    if arguments.journal is None:
        return settings
    path = arguments.journal.resolve()
    return replace(settings, journal=replace(settings.journal, path=path))


def now_in(arguments: argparse.Namespace, settings: Settings) -> Instant:
    """Now; in a journal that was named, just after its newest reading.

    Raises: DiskTrouble, JournalUnusable.
    """
    now = MachineClock().now()
    if arguments.journal is None:
        return now
    with Journal.open(settings.journal.path, read_only=True) as journal:
        readings = Records(journal.handle).readings
        spans = [readings.span(depot) for depot in settings.depots]
    return max((span[1] + 1 for span in spans if span is not None), default=now)
