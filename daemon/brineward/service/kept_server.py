"""The HTTP server as the service keeps it: what it can't serve now is tried again.

After a power cut an address may come up later than brineward, or another program may hold the port
for a while. The watch does not wait for that.
"""

import logging
import threading
from typing import Final

from brineward.clock import Clock
from brineward.http_server.door import CannotServe
from brineward.http_server.server import HttpServer

AGAIN_SECONDS: Final = 5.0
"""How long after one try the next is made."""

_LOG = logging.getLogger(__name__)


class KeptServer:
    """Starts the server, and tries again until it serves; a `Part` that is alive while it does."""

    def __init__(self, server: HttpServer, clock: Clock) -> None:
        self._server = server
        self._clock = clock
        self._stopping = threading.Event()
        self._thread: threading.Thread | None = None
        self._said = ""

    @property
    def name(self) -> str:
        """What it serves, for people."""
        return self._server.name

    def start(self) -> None:
        """Serve, or begin to try; returns at once either way."""
        if not self._serves():
            self._thread = threading.Thread(target=self._try_on, name="http later", daemon=True)
            self._thread.start()

    def stop(self) -> None:
        """Serve no more, and try no more."""
        self._stopping.set()
        if self._thread is not None:
            self._thread.join(AGAIN_SECONDS)
            self._thread = None
        self._server.stop()

    def is_alive(self) -> bool:
        """Does it serve?"""
        return self._server.is_alive()

    def went_round(self) -> float | None:
        """When its loop last came round, on the clock that never steps; None before it began."""
        return self._server.went_round()

    def _try_on(self) -> None:
        while not self._stopping.is_set():
            self._clock.wait(self._stopping, AGAIN_SECONDS)
            if not self._stopping.is_set() and self._serves():
                return

    def _serves(self) -> bool:
        try:
            self._server.start()
        except CannotServe as why:
            if str(why) != self._said:
                _LOG.error("%s; it is tried again, and the watch goes on", why)
            self._said = str(why)
            return False
        if self._said:
            _LOG.warning("%s: it is served now", self.name)
        return True


class NotServed:
    """A part that this run can't serve at all."""

    def is_alive(self) -> bool:
        """Never."""
        return False

    def went_round(self) -> float | None:
        """Never."""
        return None
