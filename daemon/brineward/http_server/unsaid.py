"""Callers that have not sent their whole request yet, and which must make room for another."""

import asyncio


class Unsaid:
    """Bounds them in total and from one address. All of it runs in the server's one loop.

    When a bound is reached, the caller that has waited longest is hung up on: one that sends its
    request at once is served however many idle ones there are.
    """

    def __init__(self, *, most: int, most_an_address: int) -> None:
        self._most, self._most_an_address = most, most_an_address
        self._waiting: dict[asyncio.Transport, str] = {}  # the oldest first

    def begin(self, transport: asyncio.Transport, address: str) -> None:
        """It may begin to speak; perhaps another is hung up on."""
        own = [one for one, whose in self._waiting.items() if whose == address]
        if len(own) >= self._most_an_address:
            self._hang_up_on(own[0])
        elif len(self._waiting) >= self._most:
            self._hang_up_on(next(iter(self._waiting)))
        self._waiting[transport] = address

    def end(self, transport: asyncio.Transport) -> None:
        """It has sent everything, or has gone: from now on it keeps its place."""
        self._waiting.pop(transport, None)

    def _hang_up_on(self, transport: asyncio.Transport) -> None:
        del self._waiting[transport]
        transport.abort()
