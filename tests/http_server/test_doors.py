"""Several doors of one server: each answers at its own address, or two at one by their paths."""

import threading
import time
from collections.abc import Iterator, Mapping
from contextlib import contextmanager
from typing import Any

import pytest
import requests

from brineward.http_server.door import CannotServe, Door
from brineward.http_server.server import HttpServer
from brineward.texts.handed_in import HttpAnswer
from brineward.texts.reply_listener import MOST_WAITING, ReplyApplication
from brokers import until
from gateways import free_port


def saying(word: str) -> Any:
    """An application that says one word, whatever is asked."""

    async def said(scope: Any, receive: Any, send: Any) -> None:
        headers = [(b"content-length", str(len(word)).encode())]
        await send({"type": "http.response.start", "status": 200, "headers": headers})
        await send({"type": "http.response.body", "body": word.encode()})

    return said


@contextmanager
def served(*doors: Door) -> Iterator[None]:
    """While these doors are open."""
    server = HttpServer(doors)
    server.start()
    try:
        yield
    finally:
        server.stop()


def asked(port: int, path: str) -> str:
    """What is said there."""
    return requests.get(f"http://127.0.0.1:{port}{path}", timeout=5).text


def test_two_doors_answer_at_one_address_or_at_two() -> None:
    """By its paths the one answers, the other all the rest; one thread serves all of it."""
    one, two = free_port(), free_port()
    page = Door(name="page", host="127.0.0.1", port=one, app=saying("page"))
    here, there = (
        Door(
            name="replies",
            host="127.0.0.1",
            port=port,
            app=saying("replies"),
            paths=frozenset({"/replies"}),
        )
        for port in (one, two)
    )
    before = threading.active_count()
    with served(here, page):
        assert [asked(one, path) for path in ("/replies", "/")] == ["replies", "page"]
    with served(page, there):
        assert threading.active_count() == before + 1
        assert [asked(one, "/replies"), asked(two, "/replies")] == ["page", "replies"]
    with pytest.raises(CannotServe, match="page and page can't both answer"):
        HttpServer([page, page]).start()


class SlowDesk:
    """Judges for as long as it is held."""

    def __init__(self) -> None:
        self.held = threading.Event()

    def receive(self, headers: Mapping[str, str], body: bytes) -> HttpAnswer:
        """Wait."""
        self.held.wait(10)
        return HttpAnswer(status=200, sentence="judged")


def test_a_flood_of_replies_holds_up_no_page() -> None:
    """While all judges wait for the disk, the page answers; what is too much is told to return."""
    port, desk = free_port(), SlowDesk()
    app = ReplyApplication({"/replies": desk}, print)
    replies = Door(
        name="replies", host="127.0.0.1", port=port, app=app, paths=frozenset({"/replies"})
    )
    page = Door(name="page", host="127.0.0.1", port=port, app=saying("page"))
    found: list[int] = []

    def post() -> None:
        url = f"http://127.0.0.1:{port}/replies"
        found.append(requests.post(url, data=b"x", timeout=20).status_code)

    with served(replies, page):
        flood = [threading.Thread(target=post) for _ in range(MOST_WAITING + 3)]
        for caller in flood:
            caller.start()
        deadline = time.monotonic() + 10
        while len(found) < 3 and time.monotonic() < deadline:
            assert asked(port, "/") == "page"
        assert found == [503] * 3
        desk.held.set()
        for caller in flood:
            caller.join(20)
    assert sorted(found) == [200] * MOST_WAITING + [503] * 3


def test_a_loop_that_comes_round_no_more_is_noticed() -> None:
    """What looks at the service's parts sees when it was last round, and that it has ended."""
    door = Door(name="page", host="127.0.0.1", port=0, app=saying("page"))
    server = HttpServer([door])
    assert (server.is_alive(), server.went_round()) == (False, None)
    server.start()
    until(lambda: server.went_round() is not None, 5, "a round")
    assert (server.is_alive(), server.name) == (True, "page")
    server.stop()
    assert not server.is_alive()
