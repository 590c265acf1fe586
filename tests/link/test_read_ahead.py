"""The socket that is read in large pieces gives the same bytes as the socket itself."""

import random
import socket

import pytest

from brineward.link.buffering import BufferedSocket


def test_bytes_come_whole_and_in_order_whatever_is_asked_for() -> None:
    """However they are cut on the way and asked for, the same bytes come out, and then the end."""
    draw = random.Random(7)
    sent = draw.randbytes(300_000)
    near, far = socket.socketpair()
    with near, far:
        ahead = BufferedSocket(near)
        near.settimeout(5)
        got = b""
        at = 0
        while len(got) < len(sent):
            if at < len(sent):
                at += far.send(sent[at : at + draw.randrange(1, 9_000)])
                if at == len(sent):
                    far.shutdown(socket.SHUT_WR)
            for _ in range(draw.randrange(1, 5)):
                if ahead.pending() or at > len(got):
                    got += ahead.recv(draw.choice([1, 2, 5, 100, 70_000]))
        assert got == sent
        assert ahead.pending() == 0
        assert ahead.recv(1) == b""


def test_what_is_ready_is_told() -> None:
    """Bytes read ahead don't show on the socket any more: they are told as pending."""
    near, far = socket.socketpair()
    with near, far:
        near.setblocking(False)
        ahead = BufferedSocket(near)
        far.sendall(b"brine")
        assert ahead.recv(2) == b"br"
        assert ahead.pending() == 3
        assert ahead.recv(10) == b"ine"
        with pytest.raises(BlockingIOError):
            ahead.recv(1)
        assert ahead.fileno() == near.fileno()
