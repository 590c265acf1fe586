"""Tells systemd, where it asks, that the service is ready and alive."""

import os
import socket

from brineward.clock import Clock


class Notices:
    """The socket of `sd_notify(3)`; says nothing where there is none."""

    def __init__(self, clock: Clock, address: str | None = None) -> None:
        self._clock = clock
        self._address = address if address is not None else os.environ.get("NOTIFY_SOCKET", "")
        microseconds = os.environ.get("WATCHDOG_USEC", "")
        self._every = int(microseconds) / 3e6 if microseconds.isdigit() else 0.0
        self._last = clock.monotonic_seconds()

    def ready(self) -> None:
        """The service does its work from now on."""
        self._send(b"READY=1")

    def stopping(self) -> None:
        """The service is on its way out."""
        self._send(b"STOPPING=1")

    def alive(self) -> None:
        """Work was truly done just now; passed on three times a watchdog period."""
        now = self._clock.monotonic_seconds()
        if self._every and now - self._last >= self._every:
            self._last = now
            self._send(b"WATCHDOG=1")

    def _send(self, message: bytes) -> None:
        if not self._address:
            return
        address = "\0" + self._address[1:] if self._address.startswith("@") else self._address
        with socket.socket(socket.AF_UNIX, socket.SOCK_DGRAM) as out:
            try:
                out.sendto(message, address)
            except OSError:
                # Nobody listens there any more; the watchdog's own patience decides then.
                return
