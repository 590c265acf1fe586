"""`brineward page CONFIG`: the page by itself, beside a service or on a copy of its journal."""

import argparse
import logging
import signal
import sys
import threading

from brineward.clock import MachineClock
from brineward.commands.config_file import add_config
from brineward.config.load import load_settings
from brineward.config.settings import PageSettings
from brineward.http_server.door import CannotServe
from brineward.http_server.server import HttpServer
from brineward.page.errors import NoKey
from brineward.service.paging import page_door


def add_parser(subparsers: "argparse._SubParsersAction[argparse.ArgumentParser]") -> None:
    """Add `page` to the command line."""
    parser = subparsers.add_parser(
        "page",
        help="serve the page for people by itself; the service does where the config has [page]",
        description="Serves the page of the config's depots until it is stopped, from the journal "
        "alone. Without a [page] table: on 127.0.0.1:8092. What people do there goes to the "
        "service by way of the journal. Ends with 0, 2 for a bad config, 3 where it can't serve.",
    )
    add_config(parser)
    parser.add_argument("--port", type=int, help="another port than the config's; 0 for any")
    parser.set_defaults(run=run)


def run(arguments: argparse.Namespace) -> int:
    """Serve; 0 when stopped, 2 for a bad call, 3 where it can't be served."""
    settings = load_settings(arguments.config)
    page = settings.page or PageSettings()
    if not settings.journal.path.exists():
        print(f"There is no journal at {settings.journal.path} yet.", file=sys.stderr)
        return 2
    logging.basicConfig(level=logging.INFO, format="%(levelname)s %(name)s: %(message)s")
    stop = threading.Event()
    for number in (signal.SIGTERM, signal.SIGINT):
        signal.signal(number, lambda *_: stop.set())
    try:
        server = HttpServer([page_door(settings, page, MachineClock(), port=arguments.port)])
        server.start()
    except (CannotServe, NoKey) as why:
        print(why, file=sys.stderr)
        return 3
    scheme = "https" if page.certificate_file else "http"
    print(f"The page is at {scheme}://{page.listen_host}:{server.port}/", flush=True)
    stop.wait()
    server.stop()
    return 0
