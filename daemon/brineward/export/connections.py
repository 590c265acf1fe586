"""Did a write use the same connection as the one before? If not, the server may have restarted."""

from collections.abc import Mapping
from typing import Any, Final

from urllib3 import HTTPConnectionPool, HTTPSConnectionPool

_POOLS: Final = {"http": HTTPConnectionPool, "https": HTTPSConnectionPool}


class Connections:
    """The connections that a client opens to one server."""

    def __init__(self) -> None:
        self._opened = self._known = 0
        self._expected = True

    def watch(self, manager: Any) -> None:
        """See every connection that a urllib3 PoolManager makes from now on."""
        manager.pool_classes_by_scheme = {
            scheme: _watched_pool(pool, self._open) for scheme, pool in _POOLS.items()
        }

    def changed(self, headers: Mapping[str, str]) -> bool:
        """A write was answered with these headers: was this over an unexpected new connection?

        The first one is expected, and so is one after the server had said that it closes the last.
        """
        unexpected = self._opened > self._known and not self._expected
        self._known = self._opened
        self._expected = "close" in headers.get("Connection", "").lower()
        return unexpected

    def _open(self) -> None:
        self._opened += 1


def _watched_pool(pool: type[Any], on_connect: Any) -> type[Any]:
    class Connection(pool.ConnectionCls):  # type: ignore[misc,name-defined]  # made at run time
        def connect(self) -> None:
            on_connect()
            super().connect()

    class Pool(pool):  # type: ignore[misc]  # made at run time
        ConnectionCls = Connection

    return Pool
