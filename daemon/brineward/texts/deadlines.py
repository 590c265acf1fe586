"""A hard end for work on a socket: a peer that dribbles a byte now and then holds up nobody.

A socket's own timeout counts from byte to byte. Here the connection is shut down when the time is
over, which ends any wait on it at once.
"""

import contextlib
import logging
import socket
import threading
from types import TracebackType
from typing import Self

from requests.adapters import HTTPAdapter
from urllib3.connection import HTTPConnection, HTTPSConnection
from urllib3.connectionpool import HTTPConnectionPool, HTTPSConnectionPool
from urllib3.poolmanager import ProxyManager

# What urllib3 logs below that has each request's path and query, where a gateway or a monitor may
# want its secret; what went wrong comes as an exception as well. Each by its own name, since a
# library that is used beside it (an export's client) sets the level of "urllib3" back.
for _name in ("connection", "connectionpool", "poolmanager", "util.retry"):
    logging.getLogger(f"urllib3.{_name}").setLevel(logging.ERROR)


class Deadline:
    """A context in which watched sockets live no longer than so many seconds of real time."""

    def __init__(self, seconds: float) -> None:
        self._seconds = seconds
        self._timer = threading.Timer(seconds, self._expire)
        self._timer.daemon = True
        self._lock = threading.Lock()
        self._watched: list[socket.socket] = []
        self.expired = False

    def __enter__(self) -> Self:
        self._timer.start()
        return self

    def __exit__(
        self,
        kind: type[BaseException] | None,
        error: BaseException | None,
        trace: TracebackType | None,
    ) -> None:
        self._timer.cancel()
        with self._lock:
            for watched in self._watched:
                watched.close()
            self._watched.clear()

    def watch(self, connection: socket.socket) -> socket.socket:
        """End this connection when the time is over; returns it. Raises: TimeoutError."""
        with self._lock:
            if self.expired:
                connection.close()
                raise TimeoutError(f"not done within {self._seconds:g} s")
            # A second handle on the same connection survives the first being wrapped in TLS.
            self._watched.append(connection.dup())
        return connection

    def _expire(self) -> None:
        with self._lock:
            self.expired = True
            for watched in self._watched:
                with contextlib.suppress(OSError):  # the peer may have ended it already
                    watched.shutdown(socket.SHUT_RDWR)


class DeadlineAdapter(HTTPAdapter):
    """Lets requests make connections that a deadline watches; never retries by itself."""

    def __init__(self, deadline: Deadline) -> None:
        self._pools = _watched_pools(deadline)
        super().__init__(max_retries=0)

    def init_poolmanager(self, *args: object, **kwargs: object) -> None:
        """Make the pools of plain and TLS connections."""
        super().init_poolmanager(*args, **kwargs)  # type: ignore[arg-type]  # handed on
        self.poolmanager.pool_classes_by_scheme = self._pools

    def proxy_manager_for(self, proxy: str, **proxy_kwargs: object) -> ProxyManager:
        """The pools of connections through a proxy, watched as well."""
        manager: ProxyManager = super().proxy_manager_for(proxy, **proxy_kwargs)
        manager.pool_classes_by_scheme = self._pools
        return manager


def _watched_pools(deadline: Deadline) -> dict[str, type[HTTPConnectionPool]]:
    class PlainConnection(HTTPConnection):
        def _new_conn(self) -> socket.socket:
            return deadline.watch(super()._new_conn())

    class TlsConnection(HTTPSConnection):
        def _new_conn(self) -> socket.socket:
            return deadline.watch(super()._new_conn())

    class PlainPool(HTTPConnectionPool):
        ConnectionCls = PlainConnection

    class TlsPool(HTTPSConnectionPool):
        ConnectionCls = TlsConnection

    return {"http": PlainPool, "https": TlsPool}
