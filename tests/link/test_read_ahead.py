"""The socket that is read in large pieces gives the same bytes as the socket itself."""

import random
import socket
import threading
from contextlib import suppress

import pytest

from brineward.link.buffering import BufferedSocket
from brineward.link.cutting import LARGEST_PACKET_BYTES, Cutter


def packets(draw: random.Random, count: int, most: int) -> list[bytes]:
    """Packets of MQTT of any kind and any length up to a bound, headers and all."""
    return [
        packet(draw.choice([0x20, 0x30, 0x32, 0x90, 0xD0]), draw.randbytes(draw.randrange(most)))
        for _ in range(count)
    ]


def packet(kind: int, body: bytes) -> bytes:
    """One packet, its remaining length written as MQTT 3.1.1 section 2.2.3 has it."""
    length, header = len(body), bytearray([kind])
    while True:
        length, low = divmod(length, 128)
        header.append(low | (128 if length else 0))
        if not length:
            return bytes(header) + body


def test_bytes_come_whole_and_in_order_whatever_is_asked_for() -> None:
    """However they are cut on the way and asked for, the same bytes come out, and then the end."""
    draw = random.Random(7)
    sent = b"".join(packets(draw, 100, 6_000))
    near, far = socket.socketpair()
    with near, far:
        ahead = BufferedSocket(near)
        near.setblocking(False)
        got = b""
        at = 0
        while len(got) < len(sent):
            if at < len(sent):
                at += far.send(sent[at : at + draw.randrange(1, 9_000)])
                if at == len(sent):
                    far.shutdown(socket.SHUT_WR)
            for _ in range(draw.randrange(1, 5)):
                with suppress(BlockingIOError):
                    got += ahead.recv(draw.choice([1, 2, 5, 100, 70_000]))
        assert got == sent
        assert ahead.pending() == 0
        assert ahead.recv(1) == b""


def test_a_packet_that_is_all_cut_is_not_the_end() -> None:
    """Where a piece holds only what is dropped, the next one is read; what follows is whole."""
    near, far = socket.socketpair()
    with near, far:
        near.setblocking(False)
        ahead = BufferedSocket(near)
        long, after = packet(0x32, b"\0\1a\0\1" + b"x" * 3_000_000), packet(0x30, b"\0\1b1")
        got = b""
        sender = threading.Thread(target=far.sendall, args=(long + after,))
        sender.start()
        while not got.endswith(after):
            try:
                piece = ahead.recv(70_000)
            except BlockingIOError:
                continue
            assert piece, "the end was told, and more was to come"
            got += piece
        sender.join()
        assert got == packet(0x32, b"\0\1a\0\1" + b"x" * (LARGEST_PACKET_BYTES - 5)) + after


@pytest.mark.parametrize("seed", range(6))
def test_only_what_is_too_long_is_cut(seed: int) -> None:
    """However the stream is cut into pieces, each packet up to the limit comes as it is, and one
    beyond it with its first bytes and a length that fits them."""
    draw = random.Random(seed)
    sent = packets(draw, 200, 700)
    expected = b"".join(
        one if len(body := body_of(one)) <= 300 else packet(one[0], body[:300]) for one in sent
    )
    stream, cutter, got = b"".join(sent), Cutter(300), b""
    while stream:
        size = draw.choice([1, 2, 3, 50, 1_000, 20_000])
        got += cutter.passed(stream[:size])
        stream = stream[size:]
    assert got == expected


def body_of(one: bytes) -> bytes:
    """A packet without its header."""
    at = 1
    while one[at] & 128:
        at += 1
    return one[at + 1 :]


def test_a_length_that_mqtt_does_not_have_is_passed_on() -> None:
    """Five bytes of length are no MQTT: the library sees them, and hangs up."""
    cutter = Cutter()
    assert cutter.passed(b"\x30\xff\xff") == b""
    assert cutter.passed(b"\xff\xff\x7f rest") == b"\x30\xff\xff\xff\xff\x7f rest"
    assert cutter.passed(b"and more") == b"and more"


def test_what_is_ready_is_told() -> None:
    """Bytes read ahead don't show on the socket any more: they are told as pending."""
    near, far = socket.socketpair()
    with near, far:
        near.setblocking(False)
        ahead = BufferedSocket(near)
        far.sendall(packet(0x30, b"brine"))
        assert ahead.recv(4) == b"\x30\x05br"
        assert ahead.pending() == 3
        assert ahead.recv(10) == b"ine"
        with pytest.raises(BlockingIOError):
            ahead.recv(1)
        assert ahead.fileno() == near.fileno()
