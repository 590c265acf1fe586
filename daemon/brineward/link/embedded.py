"""A broker in a child process, for the laptop: bound to this machine only."""

import socket
from contextlib import suppress
from dataclasses import replace
from secrets import randbelow
from types import TracebackType
from typing import Any, Final, Self

from brineward.config.settings import LinkSettings
from brineward.link.cutting import LARGEST_PACKET_BYTES

_LOOPBACK: Final = "127.0.0.1"
_TRIES: Final = 5
_FIRST_PORT: Final = 20000
_PORTS: Final = 12000
_UNDER_WAY: Final = 100
"""How many messages it has under way with one reader before it waits for acknowledgements."""


class NoEmbeddedBroker(Exception):
    """The embedded broker is not installed or does not start; the operator must act."""


class EmbeddedBroker:
    """An MQTT 3.1.1 broker for trying things out; it forgets everything when it stops."""

    def __init__(self) -> None:
        self._broker: Any = None
        self.host = _LOOPBACK
        self.port = 0
        """The port that it listens on, once started."""

    def start(self) -> None:
        """Start on a free port, return once it accepts connections. Raises: NoEmbeddedBroker."""
        try:
            from iotcore import Broker  # noqa: PLC0415 - an optional extra, for the laptop only
        except ImportError:
            raise NoEmbeddedBroker(
                "the broker for the laptop is not installed; install it with"
                " pip install 'brineward[laptop]', or name a broker of your own under [link]"
            ) from None
        for attempt in range(1, _TRIES + 1):
            port = free_port()
            broker = Broker(
                port=port,
                listen=_LOOPBACK,
                max_payload_size=LARGEST_PACKET_BYTES,
                max_inflight_count=_UNDER_WAY,
            )
            try:
                broker.start()
            except (OSError, RuntimeError) as error:  # somebody may have been quicker on the port
                if attempt == _TRIES:
                    raise NoEmbeddedBroker(f"the embedded broker does not start: {error}") from None
            else:
                self._broker, self.port = broker, port
                return

    def stop(self) -> None:
        """Stop it and free its port; safe to call twice."""
        if self._broker is not None:
            self._broker.stop()
            self._broker = None

    def reached_by(self, settings: LinkSettings) -> LinkSettings:
        """The settings that reach this broker: its address and version, no login and no TLS."""
        return replace(
            settings,
            host=self.host,
            port=self.port,
            protocol="3.1.1",
            username=None,
            password=None,
            tls=None,
        )

    def __enter__(self) -> Self:
        self.start()
        return self

    def __exit__(
        self,
        _kind: type[BaseException] | None,
        _error: BaseException | None,
        _trace: TracebackType | None,
    ) -> None:
        self.stop()


def free_port() -> int:
    """A TCP port of this machine that nobody listens on just now.

    It is below those that Linux gives to outgoing connections (32768 and up), so that none of them
    takes it before it is used.
    """
    for _ in range(20):
        with socket.socket() as probe, suppress(OSError):
            probe.bind((_LOOPBACK, _FIRST_PORT + randbelow(_PORTS)))
            return int(probe.getsockname()[1])
    with socket.socket() as probe:
        probe.bind((_LOOPBACK, 0))
        return int(probe.getsockname()[1])
