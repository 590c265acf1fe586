"""Listening in: a clean session under an id of its own, which disturbs no other."""

import socket
import threading
from collections.abc import Callable, Sequence
from contextlib import closing
from typing import Final

from brineward.clock import Clock
from brineward.config.secrets import SecretMissing
from brineward.config.settings import LinkSettings
from brineward.link.client import client_for, fresh_client_id
from brineward.link.connection import Connection, Noted
from brineward.link.messages import Message, message_from

_TURN_SECONDS: Final = 0.25
_AGAIN_SECONDS: Final = 2.0
_REFUSED_FROM: Final = 128
"""Reason codes from here on are failures: MQTT 5 section 2.4, MQTT 3.1.1 section 3.9.3."""


class NoBroker(Exception):
    """The broker is not there or does not let us in; whoever asked must act."""


def listen(
    settings: LinkSettings,
    topics: Sequence[str],
    clock: Clock,
    stop: threading.Event,
    *,
    heard: Callable[[Message], None],
    said: Callable[[str], None],
    seconds: float | None = None,
) -> None:
    """Pass on what arrives on these topics until `stop` is set or this many seconds have passed.

    QoS 0 in a clean session: the broker keeps nothing for us, not even while we are connected.
    `said` gets a sentence for anything that goes wrong. Raises: NoBroker if we never got in.
    """
    began = clock.monotonic_seconds()
    ear = _Ear(settings, tuple(topics), heard, said)

    def over() -> bool:
        late = seconds is not None and clock.monotonic_seconds() - began >= seconds
        return late or stop.is_set()

    while not over():
        why = ear.hold_one_connection(clock, over)
        if over():
            return
        if not ear.admitted:
            raise NoBroker(why)
        said(f"the connection was lost: {why}; trying again")
        clock.wait(stop, _AGAIN_SECONDS)


class _Ear:
    def __init__(
        self,
        settings: LinkSettings,
        topics: tuple[str, ...],
        heard: Callable[[Message], None],
        said: Callable[[str], None],
    ) -> None:
        self.admitted = False
        self._settings = settings
        self._topics = topics
        self._heard = heard
        self._said = said
        self._client_id = fresh_client_id("listen")

    def hold_one_connection(self, clock: Clock, over: Callable[[], bool]) -> str:
        """Listen until the connection is lost or time is up; returns why it was lost."""
        here, there = socket.socketpair()
        with here, there:
            try:
                client = client_for(
                    self._settings, client_id=self._client_id, will=None, resume=False
                )
                with closing(Connection(client, here)) as connection:
                    connection.open()
                    while connection.lost is None and not over():
                        noted = connection.turn(read=True, wait_seconds=_TURN_SECONDS)
                        self._take(connection, noted, clock.now())
                    if connection.lost is None:
                        connection.disconnect()
                        connection.turn(read=False, wait_seconds=0.0)
                    return connection.lost or ""
            except (OSError, UnicodeError) as error:
                return f"no way to {self._settings.host}:{self._settings.port}: {error}"
            except SecretMissing as missing:
                return str(missing)

    def _take(self, connection: Connection, noted: Noted, now: int) -> None:
        if noted.session_present is not None:
            self.admitted = True
            connection.subscribe(self._topics, 0)
        for topic, reason in noted.grants:
            if reason.value >= _REFUSED_FROM:
                self._said(f"the broker does not let us listen on {topic!r}: {reason}")
        for message in noted.messages:
            self._heard(message_from(message, now, 0))
