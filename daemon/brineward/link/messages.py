"""Messages as they arrive, with what is needed to acknowledge them."""

from typing import NamedTuple

from paho.mqtt.client import MQTTMessage

from brineward.readings.instants import Instant


class Token(NamedTuple):
    """What one acknowledgement needs; worth nothing once its connection is gone."""

    generation: int
    """Counts the connections: packet ids start again with each."""
    packet_id: int
    """0 where the message came with QoS 0 and wants no acknowledgement."""


class Message(NamedTuple):
    """One message from the broker."""

    topic: str
    payload: bytes
    received: Instant
    retained: bool
    token: Token


def message_from(message: MQTTMessage, received: Instant, generation: int) -> Message:
    """The library's message as ours, received on the connection of that number."""
    try:
        topic = message.topic
    except UnicodeDecodeError:  # the standard forbids it; then it is a topic that nobody has
        topic = ""
    token = Token(generation, message.mid if message.qos else 0)
    return Message(topic, bytes(message.payload), received, message.retain, token)
