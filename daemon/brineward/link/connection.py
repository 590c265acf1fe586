"""One connection to the broker, from CONNECT until it is lost; only for the network thread.

The library is driven step by step, not by its own thread: so the network thread decides when to
read (not while the inbox is full), writes acknowledgements itself, and no error in it can go
unnoticed. The library's callbacks only note what arrived; everything else happens after they
return.
"""

import selectors
import socket
from collections.abc import Sequence
from dataclasses import dataclass, field
from typing import Any, Final

from paho.mqtt.client import Client, ConnectFlags, DisconnectFlags, MQTTMessage, MQTTMessageInfo
from paho.mqtt.enums import MQTTErrorCode
from paho.mqtt.properties import Properties
from paho.mqtt.reasoncodes import ReasonCode
from paho.mqtt.subscribeoptions import SubscribeOptions

_READ_AT_ONCE: Final = 200
_BYTES_AT_ONCE: Final = 1_000_000
_TOPICS_AT_ONCE: Final = 50


@dataclass(slots=True)
class Noted:
    """What the library's callbacks noted since the last turn."""

    session_present: bool | None = None
    """Set once, when the broker has accepted us."""
    messages: list[MQTTMessage] = field(default_factory=list)
    grants: list[tuple[str, ReasonCode]] = field(default_factory=list)


class Connection:
    """Talks to the broker through one client; `lost` says why once the connection has ended."""

    def __init__(self, client: Client, wake: socket.socket) -> None:
        self.lost: str | None = None
        self._client = client
        self._wake = wake
        self._noted = Noted()
        self._asked: dict[int, Sequence[str]] = {}
        self._selector = selectors.DefaultSelector()
        self._selector.register(wake, selectors.EVENT_READ)
        self._socket: Any = None
        self._events = 0
        client.on_connect = self._on_connect
        client.on_disconnect = self._on_disconnect
        client.on_message = self._on_message
        client.on_subscribe = self._on_subscribe
        client.on_socket_close = self._on_socket_close
        # Without this the library would write from whatever thread publishes.
        client.on_socket_register_write = _nothing

    def open(self) -> None:
        """Reach the broker and send CONNECT. Raises: OSError, UnicodeError."""
        self._client.reconnect()
        self._socket = self._client.socket()

    def close(self) -> None:
        """Let go of the socket, without a word to the broker where it is still open."""
        # The library closes its socket once more when it is thrown away; that is none of ours.
        self._client.on_socket_close = None
        if self._socket is not None:
            self._socket.close()
        self._selector.close()

    def turn(self, *, read: bool, wait_seconds: float) -> Noted:
        """Write what is due, read what arrived if `read` says so, and report what was noted."""
        self._await(read=read, wait_seconds=wait_seconds)
        if read:
            self._read()
        if self.lost is None and self._client.want_write():
            self._client.loop_write()
        if self.lost is None:
            self._client.loop_misc()
        if self.lost is None and self._client.socket() is None:
            self.lost = "the connection was closed"
        noted, self._noted = self._noted, Noted()
        return noted

    def subscribe(self, topics: Sequence[str], options: SubscribeOptions | int) -> None:
        """Ask for topics; the answers come as `Noted.grants`."""
        for start in range(0, len(topics), _TOPICS_AT_ONCE):
            some = topics[start : start + _TOPICS_AT_ONCE]
            if isinstance(options, int):
                code, packet_id = self._client.subscribe([(topic, options) for topic in some])
            else:
                code, packet_id = self._client.subscribe([(topic, options) for topic in some])
            if code == MQTTErrorCode.MQTT_ERR_SUCCESS and packet_id is not None:
                self._asked[packet_id] = some

    def unsubscribe(self, topics: Sequence[str]) -> None:
        """Ask for topics no longer."""
        for start in range(0, len(topics), _TOPICS_AT_ONCE):
            self._client.unsubscribe(list(topics[start : start + _TOPICS_AT_ONCE]))

    def acknowledge(self, packet_id: int) -> None:
        """Acknowledge one message of this connection; written on the next turn."""
        self._client.ack(packet_id, 1)

    def publish_retained(self, topic: str, payload: bytes) -> MQTTMessageInfo:
        """Publish once-or-more, retained; written on the next turn."""
        return self._client.publish(topic, payload, qos=1, retain=True)

    def disconnect(self) -> None:
        """Say goodbye, so that the broker keeps our last will to itself."""
        self._client.disconnect()

    def _await(self, *, read: bool, wait_seconds: float) -> None:
        events = (selectors.EVENT_READ if read else 0) | (
            selectors.EVENT_WRITE if self._client.want_write() else 0
        )
        if self._socket is not None and events != self._events:
            if self._events == 0:
                self._selector.register(self._socket, events)
            elif events == 0:
                self._selector.unregister(self._socket)
            else:
                self._selector.modify(self._socket, events)
            self._events = events
        # What has been read ahead, or decrypted, does not show on the socket.
        pending = self._socket is not None and self._socket.pending() > 0
        for key, _ in self._selector.select(0.0 if read and pending else wait_seconds):
            if key.fileobj is self._wake:
                self._wake.recv(4096)

    def _read(self) -> None:
        size = 0
        for _ in range(_READ_AT_ONCE):
            before = len(self._noted.messages)
            self._client.loop_read()
            if self.lost is not None or len(self._noted.messages) == before:
                return
            size += sum(len(message.payload) for message in self._noted.messages[before:])
            if size >= _BYTES_AT_ONCE:
                return

    def _on_connect(
        self,
        _client: Client,
        _userdata: Any,
        flags: ConnectFlags,
        reason: ReasonCode,
        _properties: Properties | None,
    ) -> None:
        if reason.is_failure:
            self.lost = f"the broker refused us: {reason}"
        else:
            self._noted.session_present = flags.session_present

    def _on_disconnect(
        self,
        _client: Client,
        _userdata: Any,
        flags: DisconnectFlags,
        reason: ReasonCode,
        _properties: Properties | None,
    ) -> None:
        if self.lost is None:
            by_broker = flags.is_disconnect_packet_from_server
            self.lost = f"{'the broker hung up' if by_broker else 'the connection broke'}: {reason}"

    def _on_message(self, _client: Client, _userdata: Any, message: MQTTMessage) -> None:
        self._noted.messages.append(message)

    def _on_subscribe(
        self,
        _client: Client,
        _userdata: Any,
        packet_id: int,
        reasons: list[ReasonCode],
        _properties: Properties | None,
    ) -> None:
        self._noted.grants += zip(self._asked.pop(packet_id, ()), reasons, strict=False)

    def _on_socket_close(self, _client: Client, _userdata: Any, _socket: Any) -> None:
        if self._events:
            self._selector.unregister(self._socket)
            self._events = 0
        self._socket = None


def _nothing(_client: Client, _userdata: Any, _socket: Any) -> None:
    """Writing is this thread's own next turn."""
