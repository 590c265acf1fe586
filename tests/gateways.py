"""A text gateway on loopback for tests: a real HTTP server that records and misbehaves to order."""

import contextlib
import json
import os
import socket
import ssl
import struct
import sys
import threading
import time
from dataclasses import dataclass, field
from http.server import BaseHTTPRequestHandler, ThreadingHTTPServer
from typing import Any, Literal, Self
from urllib.parse import parse_qsl, urlsplit

Fault = Literal[
    "none", "reset", "close", "garbage", "hang", "dribble headers", "dribble body", "huge", "cut"
]


@dataclass(frozen=True, slots=True, kw_only=True)
class Answer:
    """How the gateway answers one request."""

    status: int = 200
    body: bytes = b'{"accepted": true}'
    headers: dict[str, str] = field(default_factory=dict)
    fault: Fault = "none"


@dataclass(frozen=True, slots=True, kw_only=True)
class Asked:
    """One request as it came."""

    method: str
    path: str
    query: dict[str, str]
    headers: dict[str, str]
    """Names in small letters."""
    body: bytes

    def json(self) -> Any:
        """The body as JSON."""
        return json.loads(self.body)

    def form(self) -> dict[str, str]:
        """The body as form fields."""
        return dict(parse_qsl(self.body.decode(), keep_blank_values=True))


class Gateway:
    """A gateway that answers with the scripted answers in turn, then with the usual one.

    Use it as a context; `script` may be added to at any time.
    """

    def __init__(self, *script: Answer, tls: ssl.SSLContext | None = None) -> None:
        self.usual = Answer()
        self._script = list(script)
        self._asked: list[Asked] = []
        self._changed = threading.Condition()
        self._over = threading.Event()
        self._server = _Server(("127.0.0.1", 0), _handler(self))
        if tls is not None:
            self._server.socket = tls.wrap_socket(
                self._server.socket, server_side=True, do_handshake_on_connect=False
            )
        self._scheme = "http" if tls is None else "https"
        self._thread = threading.Thread(
            target=self._server.serve_forever, kwargs={"poll_interval": 0.02}, daemon=True
        )

    @property
    def url(self) -> str:
        """Where texts are handed over."""
        return f"{self._scheme}://127.0.0.1:{self._server.server_address[1]}/messages"

    @property
    def asked(self) -> list[Asked]:
        """All requests so far."""
        with self._changed:
            return list(self._asked)

    def script(self, *answers: Answer) -> None:
        """Answer the next requests so."""
        with self._changed:
            self._script += answers

    def wait_for(self, count: int, timeout: float = 10.0) -> list[Asked]:
        """The requests, once there are so many; fails where there never are."""
        with self._changed:
            enough = self._changed.wait_for(lambda: len(self._asked) >= count, timeout)
            assert enough, f"{len(self._asked)} of {count} requests within {timeout} s"
            return list(self._asked)

    def take(self, asked: Asked) -> Answer:
        """Note a request; what to answer."""
        with self._changed:
            self._asked.append(asked)
            self._changed.notify_all()
            return self._script.pop(0) if self._script else self.usual

    def wait_until_over(self, seconds: float) -> bool:
        """Wait as a slow gateway does; returns early, and True, where the test is over."""
        return self._over.wait(seconds)

    def __enter__(self) -> Self:
        self._thread.start()
        return self

    def __exit__(self, *_: object) -> None:
        self._over.set()
        self._server.shutdown()
        self._server.server_close()
        self._thread.join()


class _Server(ThreadingHTTPServer):
    daemon_threads = True

    def handle_error(self, request: Any, client_address: Any) -> None:
        """A caller that hung up or spoke no TLS is what some tests are about; say the rest."""
        if not isinstance(sys.exception(), OSError):
            super().handle_error(request, client_address)


def _handler(gateway: Gateway) -> type[BaseHTTPRequestHandler]:
    class Handler(BaseHTTPRequestHandler):
        protocol_version = "HTTP/1.1"

        def do_POST(self) -> None:
            size = int(self.headers.get("Content-Length") or 0)
            parts = urlsplit(self.path)
            asked = Asked(
                method=self.command,
                path=parts.path,
                query=dict(parse_qsl(parts.query, keep_blank_values=True)),
                headers={name.lower(): value for name, value in self.headers.items()},
                body=self.rfile.read(size),
            )
            answer = gateway.take(asked)
            self.close_connection = True
            with contextlib.suppress(OSError):  # the caller may have hung up
                self._misbehave(answer)

        do_GET = do_PUT = do_POST  # noqa: N815 (the names that http.server looks for)

        def _misbehave(self, answer: Answer) -> None:
            match answer.fault:
                case "none":
                    self._answer(answer, answer.body, len(answer.body))
                case "reset":
                    off_at_once = struct.pack("ii", 1, 0)
                    self.connection.setsockopt(socket.SOL_SOCKET, socket.SO_LINGER, off_at_once)
                    os.close(self.connection.detach())
                case "close":
                    pass
                case "garbage":
                    self.wfile.write(b"\x00\xff salt and water, no HTTP\r\n\r\n" * 10)
                case "hang":
                    gateway.wait_until_over(60)
                case "dribble headers":
                    self._dribble(b"HTTP/1.1 200 OK\r\nX-Slow: " + b"drip" * 1000)
                case "dribble body":
                    self._answer(answer, b"", 10_000)
                    self._dribble(b"drip" * 1000)
                case "huge":
                    self._answer(answer, b"", 10**12)
                    while not gateway.wait_until_over(0):
                        self.wfile.write(b"brine " * 10_000)
                case "cut":
                    self._answer(answer, answer.body, len(answer.body) + 100)

        def _answer(self, answer: Answer, body: bytes, size: int) -> None:
            self.send_response(answer.status)
            for name, value in answer.headers.items():
                self.send_header(name, value)
            self.send_header("Content-Length", str(size))
            self.end_headers()
            self.wfile.write(body)

        def _dribble(self, drops: bytes) -> None:
            for drop in drops:
                self.wfile.write(bytes([drop]))
                if gateway.wait_until_over(0.05):
                    return

        def log_message(self, *_: object) -> None:
            """Say nothing."""

    return Handler


def free_port() -> int:
    """A port on loopback that nothing listens on just now."""
    with socket.socket() as probe:
        probe.bind(("127.0.0.1", 0))
        return int(probe.getsockname()[1])


def wait_until(true: Any, timeout: float = 10.0) -> None:
    """Wait until the condition holds; fails where it never does."""
    end = time.monotonic() + timeout
    while not true():
        assert time.monotonic() < end, "the condition never came true"
        time.sleep(0.005)
