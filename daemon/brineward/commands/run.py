"""`brineward run CONFIG`: the service on a depot box."""

import argparse
import logging
import signal
import sys
import threading
from collections.abc import Sequence

from brineward.commands.config_file import add_config
from brineward.config.load import load_settings
from brineward.journal.trouble import DiskTrouble, JournalUnusable
from brineward.link.link import LinkFailed
from brineward.readings.outputs import AlarmChanged, Step
from brineward.service.service import House, serve

_LOG = logging.getLogger("brineward")


def add_parser(subparsers: "argparse._SubParsersAction[argparse.ArgumentParser]") -> None:
    """Add `run` to the command line."""
    parser = subparsers.add_parser(
        "run",
        help="watch the depots of a config file until stopped",
        description="Subscribes to the sensors, keeps the journal, raises alarms and sends texts "
        "until it is stopped (SIGTERM or Ctrl-C). Stopping and starting again loses nothing.",
    )
    add_config(parser)
    parser.add_argument("--verbose", action="store_true", help="log more")
    parser.set_defaults(run=run)


def run(args: argparse.Namespace) -> int:
    """Watch; exit code 0 when stopped, 2 for a bad config, 3 when the journal can't be used."""
    settings = load_settings(args.config)
    logging.basicConfig(
        level=logging.DEBUG if args.verbose else logging.INFO,
        format="%(levelname)s %(name)s: %(message)s",
        stream=sys.stdout,
    )
    stop = threading.Event()
    for number in (signal.SIGTERM, signal.SIGINT):
        signal.signal(number, lambda *_: stop.set())
    depots = ", ".join(plan.name for plan in settings.depots.values())
    _LOG.info("watching %s", depots)
    try:
        serve(settings, stop, House(on_steps=_log_alarms))
    except (JournalUnusable, DiskTrouble, LinkFailed) as why:
        print(why, file=sys.stderr)
        return 3
    _LOG.info("stopped")
    return 0


def _log_alarms(steps: Sequence[Step]) -> None:
    for step in steps:
        for output in step.outputs:
            if isinstance(output, AlarmChanged):
                _LOG.info(
                    "%s %s %s: %s (%s)",
                    output.depot,
                    output.alarm,
                    output.source,
                    output.state,
                    output.sentence,
                )
