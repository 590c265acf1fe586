"""Messages as they arrive, with what it takes to acknowledge them."""

from typing import NamedTuple

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
