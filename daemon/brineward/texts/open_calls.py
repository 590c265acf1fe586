"""The calls that are open on a listener, and which one must make room for another."""

import contextlib
import socket
import threading
from dataclasses import dataclass


@dataclass(slots=True)
class _Call:
    connection: socket.socket
    address: str
    said_all: bool = False


class OpenCalls:
    """Bounds the calls in all and from one address.

    Where one bound is reached, the call that has been open longest without saying all that it has
    to say is hung up on: a caller that goes on at once is served however many idle ones there are.
    """

    def __init__(self, *, most: int, most_an_address: int) -> None:
        self._most = most
        self._most_an_address = most_an_address
        self._lock = threading.Lock()
        self._open: dict[int, _Call] = {}  # the oldest first

    def begin(self, connection: socket.socket, address: str) -> bool:
        """Count a new call, hanging up on another if need be; False where there is no room."""
        with self._lock:
            own = [number for number, call in self._open.items() if call.address == address]
            if len(own) >= self._most_an_address:
                room = self._hang_up_on_oldest(own)
            elif len(self._open) >= self._most:
                room = self._hang_up_on_oldest(list(self._open))
            else:
                room = True
            if room:
                self._open[id(connection)] = _Call(connection, address)
            return room

    def said_all(self, connection: socket.socket) -> None:
        """The call has said all that it has to say: from now on it keeps its place."""
        with self._lock:
            call = self._open.get(id(connection))
            if call is not None:
                call.said_all = True

    def end(self, connection: socket.socket) -> None:
        """The call is over."""
        with self._lock:
            self._open.pop(id(connection), None)

    def _hang_up_on_oldest(self, among: list[int]) -> bool:
        for number in among:
            call = self._open[number]
            if not call.said_all:
                del self._open[number]
                with contextlib.suppress(OSError):  # it may have hung up itself
                    call.connection.shutdown(socket.SHUT_RDWR)
                return True
        return False
