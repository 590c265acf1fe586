"""The MQTT client of a connection: session, login, TLS, last will."""

import secrets
import socket
import ssl
from typing import Any, Final, cast

from paho.mqtt.client import Client, MQTTMessage, MQTTv5, MQTTv311
from paho.mqtt.enums import CallbackAPIVersion, MQTTErrorCode
from paho.mqtt.packettypes import PacketTypes
from paho.mqtt.properties import Properties
from paho.mqtt.subscribeoptions import SubscribeOptions

from brineward.config.secrets import read_secret
from brineward.config.settings import LinkSettings, TlsSettings
from brineward.link.buffering import BufferedSocket
from brineward.link.cutting import LARGEST_PACKET_BYTES

QOS: Final = 1

_QOS_BITS: Final = 0b0110
_QOS_1: Final = 0b0010


class _ReadingAhead(Client):
    """The library's client on a socket that is read in large pieces."""

    def _create_socket(self) -> Any:
        return BufferedSocket(cast(socket.socket, super()._create_socket()))

    def _handle_publish(self) -> MQTTErrorCode:
        """The usual message written out; the library takes three times as long over it, most of
        it for properties that it hasn't got. All others are the library's."""
        packet, on_message = self._in_packet, self.on_message
        message = None
        if on_message is not None and self._protocol == MQTTv5:
            message = _usual_message(packet["command"], packet["packet"])
        if message is None or on_message is None:
            return super()._handle_publish()
        on_message(self, None, message)
        return MQTTErrorCode.MQTT_ERR_SUCCESS


def _usual_message(command: int, packet: bytes | bytearray) -> MQTTMessage | None:
    """A PUBLISH of MQTT 5 with QoS 1, a topic and no properties; None for any other.

    Source: MQTT 5 section 3.3.
    """
    topic_ends = 2 + int.from_bytes(packet[:2], "big")
    begins = topic_ends + 3
    if command & _QOS_BITS != _QOS_1 or topic_ends == 2 or begins > len(packet):
        return None
    if packet[topic_ends + 2]:
        return None
    # Without its constructor, which makes a condition variable for each message.
    message = MQTTMessage.__new__(MQTTMessage)
    message.topic = bytes(packet[2:topic_ends])
    message.mid = int.from_bytes(packet[topic_ends : topic_ends + 2], "big")
    message.qos, message.retain = QOS, command & 1 != 0
    message.payload = bytes(packet[begins:])
    return message


def fresh_client_id(instance: str) -> str:
    """A client id that nobody can guess, so that nobody takes the session over by it.

    Keep it as long as the session is to be resumed. Short enough for every broker with an instance
    name of up to 10 characters: MQTT 3.1.1 promises 23 (section 3.1.3.1).
    """
    return f"{instance}-{secrets.token_hex(6)}"


def client_for(
    settings: LinkSettings,
    *,
    client_id: str,
    will: bytes | None,
    resume: bool = True,
    reconnect: bool = False,
) -> Client:
    """A client that resumes its session, or has none, and leaves `will` behind when it vanishes.

    `reconnect`: the library's own thread connects again by itself.
    The password is read here and passed to nobody else.
    Raises: SecretMissing; OSError if a certificate can't be read or used.
    """
    five = settings.protocol == "5"
    client = _ReadingAhead(
        CallbackAPIVersion.VERSION2,
        client_id=client_id,
        clean_session=None if five else not resume,
        protocol=MQTTv5 if five else MQTTv311,
        manual_ack=True,
        reconnect_on_failure=reconnect,
    )
    if settings.username is not None:
        password = read_secret(settings.password) if settings.password is not None else None
        client.username_pw_set(settings.username, password)
    if settings.tls is not None:
        client.tls_set_context(_tls_context(settings.tls))
    if will is not None:
        client.will_set(settings.state_topic, will, qos=QOS, retain=True)
    if five:
        client.connect_async(
            settings.host,
            settings.port,
            keepalive=settings.keep_alive_seconds,
            clean_start=not resume,
            properties=_session(settings, resume=resume),
        )
    else:
        client.connect_async(settings.host, settings.port, keepalive=settings.keep_alive_seconds)
    return client


def subscription(settings: LinkSettings) -> SubscribeOptions | int:
    """How a topic is subscribed to: QoS 1, and retained messages once, not on every connect."""
    if settings.protocol == "5":
        return SubscribeOptions(qos=QOS, retainHandling=SubscribeOptions.RETAIN_SEND_IF_NEW_SUB)
    return QOS


def _session(settings: LinkSettings, *, resume: bool) -> Properties:
    properties = Properties(PacketTypes.CONNECT)  # type: ignore[no-untyped-call] # its author gave it no types
    properties.SessionExpiryInterval = settings.session_expiry_seconds if resume else 0
    properties.ReceiveMaximum = settings.receive_maximum
    properties.MaximumPacketSize = LARGEST_PACKET_BYTES
    return properties


def _tls_context(tls: TlsSettings) -> ssl.SSLContext:
    """The system's trust store, or the config's own authority; the host's name is checked."""
    context = ssl.create_default_context(cafile=tls.ca_file)
    context.minimum_version = ssl.TLSVersion.TLSv1_2
    if tls.certificate_file is not None:
        context.load_cert_chain(tls.certificate_file, tls.key_file)
    return context
