"""The HTTP server: uvicorn in a thread of its own, with bounds on callers that dawdle."""

import asyncio
import socket
import ssl
import threading
from collections import OrderedDict
from typing import Any, Final

import uvicorn
from starlette.types import ASGIApp
from uvicorn.protocols.http.h11_impl import H11Protocol

from brineward.config.settings import PageSettings
from brineward.page.errors import CannotServe

SECONDS_TO_SAY_IT: Final = 10.0
"""So long a caller has to say what it wants, whole."""
MOST_UNSAID: Final = 64
"""Callers that have not said it yet; one more, and the one that dawdled longest is hung up on."""
_STOP_SECONDS: Final = 5


class PageServer:
    """Serves an application until it is stopped."""

    def __init__(self, app: ASGIApp, settings: PageSettings, port: int | None = None) -> None:
        self._app, self._settings = app, settings
        self._wanted = settings.listen_port if port is None else port
        self._server: uvicorn.Server | None = None
        self._thread: threading.Thread | None = None
        self.port = self._wanted

    def start(self) -> None:
        """Begin to serve. Raises: CannotServe."""
        host = self._settings.listen_host
        try:
            family = socket.AF_INET6 if ":" in host else socket.AF_INET
            listening = socket.create_server((host, self._wanted), family=family, backlog=128)
        except OSError as error:
            why = error.strerror or str(error)
            raise CannotServe(f"page: can't listen on {host}:{self._wanted}: {why}") from error
        self.port = int(listening.getsockname()[1])
        try:
            config = self._configured()
            config.load()
        except (OSError, ssl.SSLError) as error:
            listening.close()
            raise CannotServe(f"page: its certificate or key can't be used: {error}") from error
        self._server = uvicorn.Server(config)
        self._thread = threading.Thread(
            target=self._server.run, args=([listening],), name="page", daemon=True
        )
        self._thread.start()

    def stop(self) -> None:
        """Serve no more."""
        if self._server is not None and self._thread is not None:
            self._server.should_exit = True
            self._thread.join(_STOP_SECONDS + 2)
            self._server = None

    def is_alive(self) -> bool:
        """Does its thread run?"""
        return self._thread is not None and self._thread.is_alive()

    def _configured(self) -> uvicorn.Config:
        tls = self._settings.certificate_file
        key = self._settings.key_file
        return uvicorn.Config(
            self._app,
            http=_bounded(_Unsaid()),
            ws="none",
            lifespan="off",
            log_config=None,
            log_level="critical",
            access_log=False,
            proxy_headers=False,
            server_header=False,
            date_header=False,
            h11_max_incomplete_event_size=16_384,
            timeout_keep_alive=15,
            timeout_graceful_shutdown=_STOP_SECONDS,
            ssl_certfile=None if tls is None else str(tls),
            ssl_keyfile=None if key is None else str(key),
        )


class _Unsaid:
    """The connections whose caller has not said all yet, the one that waits longest first."""

    def __init__(self) -> None:
        self._waiting: OrderedDict[int, asyncio.Transport] = OrderedDict()

    def begin(self, transport: asyncio.Transport) -> None:
        self._waiting[id(transport)] = transport
        if len(self._waiting) > MOST_UNSAID:
            _, oldest = self._waiting.popitem(last=False)
            oldest.abort()

    def end(self, transport: asyncio.Transport) -> None:
        self._waiting.pop(id(transport), None)


def _bounded(unsaid: _Unsaid) -> type[H11Protocol]:
    class Bounded(H11Protocol):
        """Hangs up on a caller that takes too long to say what it wants."""

        deadline: asyncio.TimerHandle | None = None

        def connection_made(self, transport: Any) -> None:
            super().connection_made(transport)
            unsaid.begin(transport)
            self.deadline = self.loop.call_later(SECONDS_TO_SAY_IT, transport.abort)

        def data_received(self, data: bytes) -> None:
            if self.deadline is None and (self.cycle is None or self.cycle.response_complete):
                unsaid.begin(self.transport)
                self.deadline = self.loop.call_later(SECONDS_TO_SAY_IT, self.transport.abort)
            super().data_received(data)
            if self.cycle is not None and not self.cycle.more_body:
                self._said()

        def connection_lost(self, exc: Exception | None) -> None:
            self._said()
            super().connection_lost(exc)

        def _said(self) -> None:
            unsaid.end(self.transport)
            if self.deadline is not None:
                self.deadline.cancel()
                self.deadline = None

    return Bounded
