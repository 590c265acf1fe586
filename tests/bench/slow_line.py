"""A slow line to a server of this machine: so many bits a second each way, shared by all that goes
over it, and so long there and back.

What a new connection costs before anything is said on it is not counted: a journey there and back
by TCP, another by TLS.
"""

import asyncio
import threading
from typing import Self

BITS_PER_S = 400_000
THERE_AND_BACK_S = 0.2
_PIECE = 1400
"""Bytes that go at once: about a packet."""


class _Way:
    """One way of the line: pieces leave one behind the other, and arrive a while later."""

    def __init__(self) -> None:
        self._free = 0.0

    def arrives_in(self, size: int) -> float:
        now = asyncio.get_running_loop().time()
        self._free = max(now, self._free) + size * 8 / BITS_PER_S
        return self._free - now + THERE_AND_BACK_S / 2


class SlowLine:
    """Such a line to the server at `port`; a context manager."""

    def __init__(self, port: int) -> None:
        self._port = port
        self._loop = asyncio.new_event_loop()
        self._up, self._down = _Way(), _Way()
        self._calls: set[asyncio.Task[None]] = set()
        self._thread = threading.Thread(target=self._loop.run_forever, name="line", daemon=True)
        self._thread.start()
        opening = asyncio.start_server(self._called, "127.0.0.1", 0)
        self._server = asyncio.run_coroutine_threadsafe(opening, self._loop).result(5)
        self.address = f"http://127.0.0.1:{self._server.sockets[0].getsockname()[1]}"

    def __enter__(self) -> Self:
        return self

    def __exit__(self, *why: object) -> None:
        self.hang_up()
        self._loop.call_soon_threadsafe(self._server.close)
        self._loop.call_soon_threadsafe(self._loop.stop)
        self._thread.join(5)

    def hang_up(self) -> None:
        """Every connection is over."""

        async def over() -> None:
            calls = list(self._calls)
            for call in calls:
                call.cancel()
            await asyncio.gather(*calls, return_exceptions=True)

        asyncio.run_coroutine_threadsafe(over(), self._loop).result(5)

    async def _called(self, reader: asyncio.StreamReader, writer: asyncio.StreamWriter) -> None:
        call = asyncio.current_task()
        assert call is not None
        self._calls.add(call)
        there = None
        try:
            there_reader, there = await asyncio.open_connection("127.0.0.1", self._port)
            await asyncio.gather(
                _carried(reader, there, self._up), _carried(there_reader, writer, self._down)
            )
        except asyncio.CancelledError:
            return
        finally:
            self._calls.discard(call)
            writer.close()
            if there is not None:
                there.close()


async def _carried(reader: asyncio.StreamReader, writer: asyncio.StreamWriter, way: _Way) -> None:
    """All that one side says, to the other, until it has no more to say or hangs up."""
    loop = asyncio.get_running_loop()
    under_way: asyncio.Queue[tuple[float, bytes]] = asyncio.Queue(64)

    async def arriving() -> None:
        while True:
            at, piece = await under_way.get()
            await asyncio.sleep(max(0.0, at - loop.time()))
            if not piece:
                writer.close()
                return
            writer.write(piece)
            await writer.drain()

    ending = loop.create_task(arriving())
    try:
        while piece := await reader.read(_PIECE):
            await under_way.put((loop.time() + way.arrives_in(len(piece)), piece))
        await under_way.put((loop.time() + THERE_AND_BACK_S / 2, b""))
        await ending
    except OSError:
        writer.close()
    finally:
        ending.cancel()
