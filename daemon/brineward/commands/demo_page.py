"""The demo's page: served during the night, for this machine alone."""

from collections.abc import Iterator
from contextlib import contextmanager

from brineward.clock import Clock, MachineClock
from brineward.config.settings import PageSettings, Settings
from brineward.http_server.door import CannotServe
from brineward.http_server.server import HttpServer
from brineward.service.paging import page_door


@contextmanager
def demo_page(settings: Settings, clock: Clock) -> Iterator[None]:
    """Serve it, and say where it is and how one gets in; at the usual port, or any that is free."""
    page = PageSettings()
    server = _served(settings, page, clock, page.listen_port) or _served(settings, page, clock, 0)
    if server is None:
        print("The page can't be served on this machine; the night goes on without it.\n")
        yield
        return
    person = settings.people[next(iter(settings.depots.values())).duty.on_call[0]]
    print(
        f"Its page, while the night lasts: http://{page.listen_host}:{server.port}/  Sign in as "
        f"{person.name}\nby the number {person.address}: the code is texted to you here.\n",
        flush=True,
    )
    try:
        yield
    finally:
        server.stop()


def _served(settings: Settings, page: PageSettings, clock: Clock, port: int) -> HttpServer | None:
    # Whoever signs in does so at the pace of people, however fast the night goes.
    door = page_door(settings, page, clock, port=port, people_clock=MachineClock())
    server = HttpServer([door])
    try:
        server.start()
    except CannotServe:
        return None
    return server
