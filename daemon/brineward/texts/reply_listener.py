"""The HTTP listener that a gateway calls with what people texted back."""

import logging
import sys
import threading
from collections.abc import Callable, Mapping
from http.server import BaseHTTPRequestHandler, ThreadingHTTPServer
from socketserver import TCPServer
from typing import Any, Protocol

from brineward.config.settings import ReplySettings
from brineward.followers.errors import place_of
from brineward.texts.deadlines import Deadline
from brineward.texts.open_calls import OpenCalls
from brineward.texts.reply_judge import HttpAnswer, ReplyJudge

LARGEST_BODY = 16_384
_SECONDS_A_CALL = 10.0
_CALLS_AT_ONCE = 32
_CALLS_AN_ADDRESS = 8
_POLL_SECONDS = 0.5  # how long a stop may take

_log = logging.getLogger(__name__)


class Desk(Protocol):
    """Whoever judges what comes on one path."""

    def receive(self, headers: Mapping[str, str], body: bytes) -> HttpAnswer:
        """Header names in small letters."""
        ...


class CannotListen(Exception):
    """The operator must free the address, or choose another in the config."""


class ReplyListener:
    """Listens in threads of its own; every call is bounded in size, time and number."""

    def __init__(
        self,
        settings: ReplySettings,
        judge: ReplyJudge,
        on_trouble: Callable[[str], None],
        receipts: Mapping[str, Desk] | None = None,
    ) -> None:
        self._desks: dict[str, Desk] = {**(receipts or {}), settings.path: judge}
        self._address = (settings.listen_host, settings.listen_port)
        self._on_trouble = on_trouble
        self._server: _Server | None = None

    @property
    def port(self) -> int:
        """The port that it listens on; of interest where the config says 0."""
        return self._address[1] if self._server is None else int(self._server.server_address[1])

    def start(self) -> None:
        """Begin to listen. Raises: CannotListen."""
        host, port = self._address
        try:
            self._server = _Server(self._address, self._desks, self._on_trouble)
        except OSError as error:
            why = error.strerror or str(error)
            raise CannotListen(f"replies: can't listen on {host}:{port}: {why}") from error
        threading.Thread(
            target=self._server.serve_forever, args=(_POLL_SECONDS,), name="replies", daemon=True
        ).start()

    def stop(self) -> None:
        """Listen no more."""
        if self._server is not None:
            self._server.shutdown()
            self._server.server_close()
            self._server = None


class _Server(ThreadingHTTPServer):
    daemon_threads = True
    block_on_close = False
    request_queue_size = 64

    def __init__(
        self,
        address: tuple[str, int],
        desks: Mapping[str, Desk],
        on_trouble: Callable[[str], None],
    ) -> None:
        self._on_trouble = on_trouble
        self._calls = OpenCalls(most=_CALLS_AT_ONCE, most_an_address=_CALLS_AN_ADDRESS)
        super().__init__(address, _handler(desks, self._calls))

    def server_bind(self) -> None:
        """Bind without asking the name service what this machine is called: it may hang."""
        TCPServer.server_bind(self)
        host, port = self.server_address[:2]
        self.server_name, self.server_port = str(host), port

    def process_request(self, request: Any, client_address: Any) -> None:
        """Give the call a thread; where too many are open, the one that has dawdled longest ends.

        So callers that connect and say nothing never hold up one that does.
        """
        if self._calls.begin(request, str(client_address[0])):
            super().process_request(request, client_address)
        else:
            self.shutdown_request(request)

    def process_request_thread(self, request: Any, client_address: Any) -> None:
        """Handle the call and free its place."""
        try:
            super().process_request_thread(request, client_address)
        finally:
            self._calls.end(request)

    def handle_error(self, request: Any, client_address: Any) -> None:
        """Report an error of ours; the caller has no answer, so it will hand the message in again.

        A caller that hung up is no news.
        """
        error = sys.exception()
        if error is not None and not isinstance(error, ConnectionError):
            sentence = f"a reply could not be dealt with: {place_of(error)}"
            _log.error("%s", sentence)
            self._on_trouble(sentence)


def _handler(desks: Mapping[str, Desk], calls: OpenCalls) -> type[BaseHTTPRequestHandler]:
    class Handler(BaseHTTPRequestHandler):
        timeout = _SECONDS_A_CALL
        server_version = "brineward"
        sys_version = ""
        error_content_type = "text/plain; charset=utf-8"
        error_message_format = "%(message)s\n"

        def handle(self) -> None:
            with Deadline(_SECONDS_A_CALL) as deadline:
                deadline.watch(self.connection)
                super().handle()

        def do_POST(self) -> None:
            answer = self._answer()
            if answer is None:
                return
            said = f"{answer.sentence}\n".encode()
            self.send_response(answer.status)
            self.send_header("Content-Type", self.error_content_type)
            self.send_header("Content-Length", str(len(said)))
            self.end_headers()
            self.wfile.write(said)

        def _answer(self) -> HttpAnswer | None:
            """What to say; None where the message was cut off."""
            desk = desks.get(self.path.partition("?")[0])
            if desk is None:
                return HttpAnswer(status=404, sentence="nothing here")
            size = self.headers.get("Content-Length", "")
            if not (size.isascii() and size.isdigit()) or "Transfer-Encoding" in self.headers:
                return HttpAnswer(status=411, sentence="say Content-Length")
            if len(size) > 9 or int(size) > LARGEST_BODY:
                return HttpAnswer(status=413, sentence=f"over {LARGEST_BODY} bytes")
            body = self.rfile.read(int(size))
            if len(body) < int(size):
                return None
            calls.said_all(self.connection)
            headers = {name.lower(): value for name, value in self.headers.items()}
            return desk.receive(headers, body)

        def log_message(self, *_: object) -> None:
            """Say nothing: the path may hold what is nobody's business."""

    return Handler
