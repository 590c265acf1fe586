"""`brineward listen CONFIG`: what the sensors are sending, and how each payload is read."""

import argparse
import signal
import sys
import threading
from collections.abc import Iterator
from contextlib import contextmanager

from brineward.clock import MachineClock
from brineward.commands.config_file import add_config
from brineward.commands.listen_lines import Heard
from brineward.config.load import load_settings
from brineward.config.sensor_table import default_topic
from brineward.config.settings import Settings
from brineward.link.listening import NoBroker, listen
from brineward.quantities import UnreadableQuantity, parse_quantity

DONE, NOTHING_CAME, FAILED = 0, 1, 2


def add_parser(subparsers: "argparse._SubParsersAction[argparse.ArgumentParser]") -> None:
    """Add `listen` to the command line."""
    parser = subparsers.add_parser(
        "listen",
        help="show what the sensors are sending now, and how it is read",
        description="Listens on the topics of a config file and shows each payload as it is "
        "read: its value, time and quality, or why it is refused. It keeps no "
        "journal and has a session of its own, so that a running service is not "
        "disturbed. Messages under brine/DEPOT/ that belong to no sensor of the "
        "config are shown too.",
        epilog="Exit code: 0 something came, 1 nothing came, 2 the broker or the config is wrong.",
    )
    add_config(parser)
    parser.add_argument(
        "--topic",
        action="append",
        metavar="FILTER",
        help='listen on this instead: a topic, or a filter such as "brine/#"; may be given again',
    )
    parser.add_argument(
        "--for",
        dest="span",
        type=_span,
        metavar="TIME",
        help='end after this time, such as "30 s"; otherwise with Ctrl-C',
    )
    parser.set_defaults(run=run)


def run(arguments: argparse.Namespace) -> int:
    """Listen; 0 where something came, 1 where nothing did, 2 where the broker is not to be had."""
    settings = load_settings(arguments.config)
    topics = tuple(arguments.topic or topics_of(settings))
    clock = MachineClock()
    heard = Heard(settings, lambda line: print(line, flush=True))
    span = f"for {arguments.span:g} s" if arguments.span else "until Ctrl-C"
    print(f"Listening {span} on {', '.join(topics)}", flush=True)
    try:
        with _stopped_by_signals() as stop:
            listen(
                settings.link,
                topics,
                clock,
                stop,
                heard=heard.take,
                said=lambda sentence: print(sentence, file=sys.stderr),
                seconds=arguments.span,
            )
    except NoBroker as why:
        print(why, file=sys.stderr)
        return FAILED
    except ValueError as why:  # the library's word for a filter that is none
        print(f"can't listen on {', '.join(topics)}: {why}", file=sys.stderr)
        return FAILED
    print("\n".join(heard.summary()))
    return DONE if heard.messages else NOTHING_CAME


def topics_of(settings: Settings) -> list[str]:
    """One filter for each depot's own topics, and every other topic that a sensor has."""
    depots = [default_topic(depot, "") for depot in settings.depots]
    others = {
        source.topic for source in settings.sources if not source.topic.startswith((*depots,))
    }
    return [f"{depot}#" for depot in depots] + sorted(others)


@contextmanager
def _stopped_by_signals() -> Iterator[threading.Event]:
    """An event that Ctrl-C sets, or a polite kill; the handlers of before are put back."""
    stop = threading.Event()
    before = {
        number: signal.signal(number, lambda *_: stop.set())
        for number in (signal.SIGINT, signal.SIGTERM)
    }
    try:
        yield stop
    finally:
        for number, handler in before.items():
            signal.signal(number, handler)


def _span(text: str) -> float:
    try:
        seconds = parse_quantity(text, expected="duration")
    except UnreadableQuantity as why:
        raise argparse.ArgumentTypeError(str(why)) from why
    if seconds <= 0:
        raise argparse.ArgumentTypeError(f"{text!r} is not above 0")
    return seconds
