"""Cuts packets that are too long, in the stream of bytes from the broker.

MQTT 5 lets a client name the largest packet that it accepts, MQTT 3.1.1 does not, and the library
reads a packet of up to 256 MB whole, whatever it asked for (its `_packet_read` has no limit). So a
packet that is too long is cut before the library sees it: its payload ends early, but is still
longer than any payload that is read. It is then refused and acknowledged like any other.
"""

from typing import Final

LARGEST_PACKET_BYTES: Final = 131_072
"""What the broker is asked (MQTT 5) never to exceed: twice the longest payload that is read."""

_LONGEST_LENGTH: Final = 4


class Cutter:
    """Passes the broker's bytes on, each packet no longer than the limit. Pure but for its place.

    Source of the fixed header: MQTT 3.1.1 sections 2.2 and 2.2.3, the same in MQTT 5 section 2.1.
    """

    def __init__(self, largest: int = LARGEST_PACKET_BYTES) -> None:
        self._largest = largest
        self._head = b""
        """The start of a packet whose length is not complete yet."""
        self._to_pass = 0
        self._to_drop = 0
        self._lost = False
        """A length that MQTT does not have: the library shall see it and hang up."""

    def passed(self, piece: bytes) -> bytes:
        """What of this piece is to be seen; empty where all of it is cut or waits for more."""
        if self._lost:
            return piece
        if self._head:
            piece, self._head = self._head + piece, b""
        out: list[bytes] = []
        start = at = 0
        end = len(piece)
        while at < end:
            if self._to_pass:
                step = min(self._to_pass, end - at)
                self._to_pass -= step
                at += step
            elif self._to_drop:
                out.append(piece[start:at])
                step = min(self._to_drop, end - at)
                self._to_drop -= step
                start = at = at + step
            else:
                length, header = _remaining_length(piece, at)
                if header == 0:
                    self._head = piece[at:]
                    end = at
                elif header > _LONGEST_LENGTH + 1:
                    self._lost = True
                    at = end
                elif length <= self._largest:
                    self._to_pass = length
                    at += header
                else:
                    out.append(piece[start:at] + piece[at : at + 1] + _encoded(self._largest))
                    start = at = at + header
                    self._to_pass, self._to_drop = self._largest, length - self._largest
        if not out:
            return piece if end == len(piece) and start == 0 else piece[start:end]
        out.append(piece[start:end])
        return b"".join(out)


def _remaining_length(piece: bytes, at: int) -> tuple[int, int]:
    """The length that the packet at this place says, and the bytes of its header; (0, 0) where
    the piece ends too early to say."""
    length = shift = 0
    for header in range(1, _LONGEST_LENGTH + 1):
        if at + header >= len(piece):
            return 0, 0
        byte = piece[at + header]
        length |= (byte & 127) << shift
        shift += 7
        if byte < 128:
            return length, header + 1
    return 0, _LONGEST_LENGTH + 2


def _encoded(length: int) -> bytes:
    """A remaining length as MQTT writes it."""
    out = bytearray()
    while True:
        length, low = length >> 7, length & 127
        out.append(low | (128 if length else 0))
        if not length:
            return bytes(out)
