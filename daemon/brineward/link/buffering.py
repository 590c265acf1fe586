"""A socket that is read in large pieces.

The library asks for one byte, then another, then the rest of each message. Each of these system
calls would also hand the interpreter to another busy thread, and wait to get it back. What is read
passes through the cutter, so that no packet takes more memory than it may.
"""

import socket
import ssl
from typing import Any, Final

from brineward.link.cutting import Cutter

_PIECE_BYTES: Final = 65_536


class BufferedSocket:
    """Behaves like the socket that it holds, but reads ahead; what it has ready is `pending`."""

    def __init__(self, held: socket.socket) -> None:
        self._socket = held
        self._piece = b""
        self._at = 0
        self._cutter = Cutter()

    def recv(self, most: int) -> bytes:
        """Up to this many bytes, b"" at the end; raises what the socket raises."""
        at = self._at
        if at == len(self._piece):
            self._piece, at = self._read(), 0
        found = self._piece[at : at + most]
        self._at = at + len(found)
        return found

    def _read(self) -> bytes:
        # Where all of a piece was cut, empty would mean the end: the next piece, or what the socket
        # raises where there is none yet.
        while piece := self._socket.recv(_PIECE_BYTES):
            passed = self._cutter.passed(piece)
            if passed:
                return passed
        return b""

    def pending(self) -> int:
        """How many bytes can be read without the network: they don't show on the socket."""
        ready = len(self._piece) - self._at
        return ready + (self._socket.pending() if isinstance(self._socket, ssl.SSLSocket) else 0)

    def __getattr__(self, name: str) -> Any:
        """Everything else is the socket's own."""
        return getattr(self._socket, name)
