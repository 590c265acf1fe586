"""`brineward page CONFIG`: the page by itself, beside a service or on a copy of its journal."""

import argparse
import logging
import signal
import sys
import threading
from collections.abc import Iterable
from dataclasses import replace
from pathlib import Path

from brineward.clock import MachineClock, StillClock
from brineward.commands.config_file import add_config
from brineward.commands.take import has_journal
from brineward.config.load import load_settings
from brineward.config.settings import PageSettings
from brineward.http_server.door import CannotServe
from brineward.http_server.server import HttpServer
from brineward.journal import DiskTrouble, Journal, JournalDamaged, JournalUnusable
from brineward.page.errors import NoKey
from brineward.readings.instants import Instant
from brineward.records import Records
from brineward.service.paging import page_door


def add_parser(subparsers: "argparse._SubParsersAction[argparse.ArgumentParser]") -> None:
    """Add `page` to the command line."""
    parser = subparsers.add_parser(
        "page",
        help="serve the page by itself; the service serves it if the config has [page]",
        description="Serves the page of the config's depots, from the journal alone, until it is "
        "stopped; without a [page] table on 127.0.0.1:8092. What people do there "
        "reaches the service through the journal. Ends with 0; 2 for a bad config; 3 "
        "if it can't serve.",
    )
    add_config(parser)
    parser.add_argument("--port", type=int, help="another port than the config's; 0 for any")
    parser.add_argument(
        "--copy",
        type=Path,
        metavar="JOURNAL",
        help="a copy of a journal, as it was when it was last written; without signing in, "
        "read-only, and for this machine alone",
    )
    parser.set_defaults(run=run)


def run(arguments: argparse.Namespace) -> int:
    """Serve; 0 when stopped, 2 for a bad call, 3 where it can't be served."""
    settings = load_settings(arguments.config)
    page, clock = settings.page or PageSettings(), MachineClock()
    copy: Path | None = arguments.copy
    if copy is not None:
        settings = replace(settings, journal=replace(settings.journal, path=copy))
        page = PageSettings(listen_port=page.listen_port)
    if not has_journal(settings):
        return 2
    logging.basicConfig(level=logging.INFO, format="%(levelname)s %(name)s: %(message)s")
    stop = threading.Event()
    for number in (signal.SIGTERM, signal.SIGINT):
        signal.signal(number, lambda *_: stop.set())
    try:
        if copy is not None:
            clock = StillClock(_last_written(copy, settings.depots))
        door = page_door(settings, page, clock, port=arguments.port, anyone=copy is not None)
        server = HttpServer([door])
        server.start()
    except (CannotServe, NoKey, DiskTrouble, JournalDamaged, JournalUnusable) as why:
        print(why, file=sys.stderr)
        return 3
    scheme = "https" if page.certificate_file else "http"
    print(f"The page is at {scheme}://{page.listen_host}:{server.port}/", flush=True)
    stop.wait()
    server.stop()
    return 0


def _last_written(path: Path, depots: Iterable[str]) -> Instant:
    """When the journal was last written, by what it holds; just before its service was stopped.

    Raises: DiskTrouble, JournalDamaged, JournalUnusable.
    """
    with Journal.open(path, read_only=True) as journal:
        records = Records(journal.handle)
        spans = [records.readings.span(depot) for depot in depots]
        service = records.service()
        beat = (service.beat or 0) if service.stopped is None else service.stopped - 1
        return max(beat, *(span[1] for span in spans if span), 0)
