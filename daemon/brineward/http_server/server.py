"""The HTTP server: uvicorn in its own thread, with limits on slow callers."""

import asyncio
import socket
import ssl
import threading
from collections.abc import Iterable
from typing import Any, Final

import uvicorn
from uvicorn.protocols.http.h11_impl import H11Protocol

from brineward.clock import Clock, MachineClock
from brineward.http_server.door import CannotServe, Door, shared
from brineward.http_server.unsaid import Unsaid

SECONDS_TO_SAY_IT: Final = 10.0
"""How long a caller may take to send its whole request."""
MOST_UNSAID: Final = 64
"""Callers that have not said it yet; one more, and the one that dawdled longest is hung up on."""
MOST_UNSAID_AN_ADDRESS: Final = 32
MOST_OPEN: Final = 500
"""Calls in all, live pages included; beyond that a caller is told to come back."""
_STOP_SECONDS: Final = 2
_ROUND_SECONDS: Final = 5.0


class HttpServer:
    """Serves behind some doors until it is stopped; all of them in one thread and one loop."""

    def __init__(self, doors: Iterable[Door], clock: Clock | None = None) -> None:
        self._doors = list(doors)
        self._clock = clock or MachineClock()
        self._round: float | None = None
        self._servers: list[uvicorn.Server] = []
        self._sockets: list[socket.socket] = []
        self._thread: threading.Thread | None = None

    def start(self) -> None:
        """Begin to serve. Raises: CannotServe."""
        try:
            for door in shared(self._doors):
                self._sockets.append(_listening(door))
                self._servers.append(uvicorn.Server(_configured(door)))
        except CannotServe:
            self._close()
            raise
        self._thread = threading.Thread(target=self._run, name="http", daemon=True)
        self._thread.start()

    @property
    def port(self) -> int:
        """The first door's, while it serves; of interest where the config says 0."""
        return int(self._sockets[0].getsockname()[1])

    def stop(self) -> None:
        """Serve no more."""
        for server in self._servers:
            server.should_exit = True
        if self._thread is not None:
            self._thread.join(_STOP_SECONDS + 2)
            self._thread = None
        self._close()

    def is_alive(self) -> bool:
        """Does its thread run?"""
        return self._thread is not None and self._thread.is_alive()

    def went_round(self) -> float | None:
        """When its loop last came round, on the clock that never steps; None before it began."""
        return self._round

    @property
    def name(self) -> str:
        """What it serves, for people."""
        return " and ".join(door.name for door in self._doors)

    def _run(self) -> None:
        async def serve() -> None:
            both = zip(self._servers, self._sockets, strict=True)
            round_ = asyncio.create_task(self._go_round())
            await asyncio.gather(*(server.serve([one]) for server, one in both))
            round_.cancel()

        # Uvicorn's own way to run sets up the loop in the same manner.
        asyncio.run(serve())

    async def _go_round(self) -> None:
        while True:
            self._round = self._clock.monotonic_seconds()
            await asyncio.sleep(_ROUND_SECONDS)

    def _close(self) -> None:
        for one in self._sockets:
            one.close()
        self._sockets, self._servers = [], []


def _listening(door: Door) -> socket.socket:
    family = socket.AF_INET6 if ":" in door.host else socket.AF_INET
    try:
        return socket.create_server((door.host, door.port), family=family, backlog=128)
    except (OSError, UnicodeError) as error:  # the second: a host that can be no name
        why = getattr(error, "strerror", None) or str(error)
        raise CannotServe(f"{door.name}: can't listen on {door.host}:{door.port}: {why}") from error


def _configured(door: Door) -> uvicorn.Config:
    tls, key = door.certificate_file, door.key_file
    unsaid = Unsaid(most=MOST_UNSAID, most_an_address=MOST_UNSAID_AN_ADDRESS)
    config = uvicorn.Config(
        door.app,
        http=_bounded(unsaid),
        ws="none",
        lifespan="off",
        log_config=None,
        log_level="critical",
        access_log=False,
        proxy_headers=False,
        server_header=False,
        date_header=False,
        h11_max_incomplete_event_size=16_384,
        limit_concurrency=MOST_OPEN,
        timeout_keep_alive=15,
        timeout_graceful_shutdown=_STOP_SECONDS,
        ssl_certfile=None if tls is None else str(tls),
        ssl_keyfile=None if key is None else str(key),
    )
    try:
        config.load()
    except (OSError, ssl.SSLError) as error:
        raise CannotServe(f"{door.name}: its certificate or key can't be used: {error}") from error
    return config


def _bounded(unsaid: Unsaid) -> type[H11Protocol]:
    class Bounded(H11Protocol):
        """Hangs up on a caller that takes too long to send its request."""

        deadline: asyncio.TimerHandle | None = None

        def connection_made(self, transport: Any) -> None:
            super().connection_made(transport)
            self._awaited()

        def data_received(self, data: bytes) -> None:
            if self.deadline is None and (self.cycle is None or self.cycle.response_complete):
                self._awaited()
            super().data_received(data)
            if self.cycle is not None and not self.cycle.more_body:
                self._said()

        def connection_lost(self, exc: Exception | None) -> None:
            self._said()
            super().connection_lost(exc)

        def _awaited(self) -> None:
            unsaid.begin(self.transport, self.client[0] if self.client else "")
            self.deadline = self.loop.call_later(SECONDS_TO_SAY_IT, self.transport.abort)

        def _said(self) -> None:
            unsaid.end(self.transport)
            if self.deadline is not None:
                self.deadline.cancel()
                self.deadline = None

    return Bounded
