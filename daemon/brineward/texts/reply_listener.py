"""Where a gateway hands over what people texted back, and what it delivered: over HTTP."""

import asyncio
import logging
from collections.abc import Callable, Mapping
from concurrent.futures import ThreadPoolExecutor
from typing import Any, Final, Protocol

from brineward.config.settings import ReplySettings
from brineward.followers.errors import place_of
from brineward.http_server.door import Door
from brineward.texts.handed_in import HttpAnswer

LARGEST_BODY = 16_384
MOST_WAITING: Final = 32
"""Messages that wait to be judged; a gateway hands the next one in again."""
_JUDGES: Final = 2

_log = logging.getLogger(__name__)


class Desk(Protocol):
    """Whoever judges what comes on one path."""

    def receive(self, headers: Mapping[str, str], body: bytes) -> HttpAnswer:
        """Header names in small letters."""
        ...


def reply_door(
    settings: ReplySettings,
    judge: Desk,
    on_trouble: Callable[[str], None],
    receipts: Mapping[str, Desk] | None = None,
    *,
    on_answer: Callable[[str, HttpAnswer], None] = lambda path, answer: None,
) -> Door:
    """Where replies come in, and receipts by their own paths.

    `on_answer` hears, by its path, what a caller was told of each message that was judged or
    refused; not where we were too busy for it or failed.
    """
    desks: dict[str, Desk] = {**(receipts or {}), settings.path: judge}
    return Door(
        name="replies",
        host=settings.listen_host,
        port=settings.listen_port,
        app=ReplyApplication(desks, on_trouble, on_answer),
        paths=frozenset(desks),
    )


class ReplyApplication:
    """An ASGI application: a desk a path. What is judged has threads of its own, so that a flood of
    messages holds up nothing else that is served."""

    def __init__(
        self,
        desks: Mapping[str, Desk],
        on_trouble: Callable[[str], None],
        on_answer: Callable[[str, HttpAnswer], None] = lambda path, answer: None,
    ) -> None:
        self._desks = desks
        self._on_trouble = on_trouble
        self._on_answer = on_answer
        self._judges = ThreadPoolExecutor(_JUDGES, thread_name_prefix="replies")
        self._waiting = 0

    async def __call__(self, scope: Any, receive: Any, send: Any) -> None:
        """Judge one message."""
        if scope["type"] != "http":
            return
        headers = {
            name.decode("latin-1"): value.decode("latin-1") for name, value in scope["headers"]
        }
        desk = self._desks.get(scope["path"])
        if desk is None:
            await _say(HttpAnswer(status=404, sentence="nothing here"), send)
            return
        answer = _refusal(scope["method"], headers)
        if answer is not None:
            self._on_answer(scope["path"], answer)
        else:
            body = await _body(receive)
            if body is None:
                return
            answer = await self._judged(scope["path"], desk, headers, body)
        await _say(answer, send)

    async def _judged(
        self, path: str, desk: Desk, headers: dict[str, str], body: bytes
    ) -> HttpAnswer:
        if self._waiting >= MOST_WAITING:
            return HttpAnswer(status=503, sentence="busy; try again later")
        self._waiting += 1
        loop = asyncio.get_running_loop()
        judging = loop.run_in_executor(self._judges, desk.receive, headers, body)
        await asyncio.wait({judging})
        self._waiting -= 1
        error = judging.exception()
        if error is None:
            self._on_answer(path, judging.result())
            return judging.result()
        sentence = f"a reply could not be dealt with: {place_of(error)}"
        _log.error("%s", sentence)
        self._on_trouble(sentence)
        return HttpAnswer(status=500, sentence="not dealt with; hand it in again")


def _refusal(method: str, headers: Mapping[str, str]) -> HttpAnswer | None:
    if method != "POST":
        return HttpAnswer(status=405, sentence="only POST")
    size = headers.get("content-length", "")
    if not (size.isascii() and size.isdigit()) or "transfer-encoding" in headers:
        return HttpAnswer(status=411, sentence="say Content-Length")
    if len(size) > 9 or int(size) > LARGEST_BODY:
        return HttpAnswer(status=413, sentence=f"over {LARGEST_BODY} bytes")
    return None


async def _body(receive: Any) -> bytes | None:
    """All of it; None where the caller has hung up before."""
    found = b""
    while True:
        message = await receive()
        if message["type"] != "http.request":
            return None
        found += bytes(message.get("body", b""))
        if not message.get("more_body", False):
            return found


async def _say(answer: HttpAnswer, send: Any) -> None:
    said = f"{answer.sentence}\n".encode()
    headers = [
        (b"content-type", b"text/plain; charset=utf-8"),
        (b"content-length", str(len(said)).encode()),
    ]
    await send({"type": "http.response.start", "status": answer.status, "headers": headers})
    await send({"type": "http.response.body", "body": said})
