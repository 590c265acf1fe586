"""Callers that dribble, idle, talk nonsense or come in crowds: a reply is served all the same."""

import socket
import threading
import time

import pytest

from brineward.http_server import server
from brineward.http_server.door import CannotServe
from texts.reply_post import (
    SECRET,
    Post,
    post,
    posts,
    started,
)

__all__ = ["post", "posts"]


def raw(post: Post, sent: bytes) -> bytes:
    """What the listener answers to these bytes, until it hangs up."""
    with socket.create_connection(("127.0.0.1", post.listener.port), timeout=10) as call:
        call.sendall(sent)
        found = b""
        while piece := call.recv(4096):
            found += piece
    return found


def dribbled(post: Post) -> bytes:
    """What the listener answers to a header that grows for ever, until it hangs up."""
    with socket.create_connection(("127.0.0.1", post.listener.port), timeout=0.05) as call:
        call.sendall(b"POST /replies HTTP/1.1\r\nX-Slow: ")
        while True:
            try:
                call.sendall(b"d")
                return call.recv(4096)
            except TimeoutError:
                continue
            except ConnectionError:
                return b""


def test_callers_that_dribble_are_hung_up_on_and_others_are_served(
    posts: list[Post], monkeypatch: pytest.MonkeyPatch
) -> None:
    """A call that is never finished ends in time, and meanwhile a good one gets through."""
    monkeypatch.setenv("BRINEWARD_TEST_REPLIES", SECRET)
    monkeypatch.setattr(server, "SECONDS_TO_SAY_IT", 0.5)
    post = started(posts)
    # The header that never ends: a drop well within any wait for the next byte.
    dribbler = threading.Thread(target=lambda: found.append(dribbled(post)))
    unfinished = [
        b"POST /replies HTTP/1.1\r\nContent-Le",
        b"POST /replies HTTP/1.1\r\nContent-Length: 100\r\n\r\nhalf",
        b"",
    ]
    found: list[bytes] = []
    callers = [
        threading.Thread(target=lambda sent=sent: found.append(raw(post, sent)))
        for sent in unfinished
    ]
    callers.append(dribbler)
    for caller in callers:
        caller.start()
    assert post.text("TH12").text == "taken\n"
    for caller in callers:
        caller.join(10)
    assert len(found) == 4
    assert not any(b"200" in each for each in found)
    assert post.troubles == []


@pytest.mark.parametrize("idle", [16, 100])
def test_idle_connections_hold_up_no_reply(idle: int, post: Post) -> None:
    """However many callers connect and say nothing, from one address, the next reply is taken."""
    address = ("127.0.0.1", post.listener.port)
    calls = [socket.create_connection(address, timeout=10) for _ in range(idle)]
    began = time.monotonic()
    assert post.text("TH12").text == "taken\n"
    assert time.monotonic() - began < 8, "it waited for the idle ones"
    for call in calls:
        call.close()


def test_the_oldest_idle_call_makes_room_for_the_next(
    posts: list[Post], monkeypatch: pytest.MonkeyPatch
) -> None:
    """Calls are bounded in all and from one address; who has dawdled longest is hung up on."""
    monkeypatch.setenv("BRINEWARD_TEST_REPLIES", SECRET)
    monkeypatch.setattr(server, "MOST_UNSAID_AN_ADDRESS", 2)
    post = started(posts)
    address = ("127.0.0.1", post.listener.port)
    first, second, third = [socket.create_connection(address, timeout=10) for _ in range(3)]
    assert first.recv(10) == b""
    for call in (second, third):
        call.settimeout(0.2)
        with pytest.raises(TimeoutError):
            call.recv(10)
    for call in (first, second, third):
        call.close()


@pytest.mark.parametrize(
    "sent",
    [b"\x00" * 100 + b"\r\n\r\n", b"GET\r\n\r\n", b"POST /replies SALT/9\r\n\r\n", b"\r\n" * 5],
)
def test_garbage_is_survived(sent: bytes, post: Post) -> None:
    """What is no HTTP is refused or hung up on, and the next reply is taken."""
    assert b" 200 " not in raw(post, sent + b"x: y\r\n" * 200 + b"\r\n")
    assert post.text("TH12").text == "taken\n"
    assert post.troubles == []


def test_an_address_in_use_is_said(post: Post) -> None:
    """The operator reads which address; whoever keeps the server tries again."""
    second = Post(listen_port=post.listener.port)
    with pytest.raises(CannotServe, match=r"127\.0\.0\.1:\d+: Address already in use"):
        second.listener.start()
    second.listener.stop()
