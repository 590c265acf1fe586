"""A message that is written out by hand says what the library's own decoder says of it."""

import random

from paho.mqtt.client import Client, MQTTMessage, MQTTv5
from paho.mqtt.enums import CallbackAPIVersion

from brineward.link.client import _ReadingAhead, _usual_message

PROPERTIES = (b"\x00", b"\x00", b"\x02\x01\x01", b"\x05\x02\x00\x00\x00\x09")
"""None, a payload format, an expiry; MQTT 5 section 3.3.2.3."""


def heard_by(kind: type[Client], command: int, packet: bytes) -> list[tuple[object, ...]]:
    """What a client of this kind hands on of one PUBLISH."""
    client = kind(CallbackAPIVersion.VERSION2, "one", protocol=MQTTv5, manual_ack=True)
    heard: list[MQTTMessage] = []
    client.on_message = lambda _client, _userdata, message: heard.append(message)
    client._in_packet["command"] = command
    client._in_packet["packet"] = bytearray(packet)
    client._handle_publish()
    return [(m.topic, bytes(m.payload), m.mid, m.qos, m.retain) for m in heard]


def test_every_message_is_what_the_library_makes_of_it() -> None:
    """Topic, payload, packet id, QoS and retained are the same, with properties and without."""
    draw = random.Random(11)
    usual = 0
    for _ in range(500):
        qos = draw.choice([0, 1, 1, 1])
        command = 0x30 | qos << 1 | draw.choice([0, 1]) | draw.choice([0, 8])
        topic = "brine/tern-hollow/süß"[: draw.randrange(1, 22)].encode()
        mid = draw.randrange(1, 65_536).to_bytes(2, "big") if qos else b""
        properties = draw.choice(PROPERTIES)
        payload = draw.randbytes(draw.randrange(40))
        packet = len(topic).to_bytes(2, "big") + topic + mid + properties + payload
        usual += _usual_message(command, packet) is not None
        assert heard_by(_ReadingAhead, command, packet) == heard_by(Client, command, packet)
    assert 100 < usual < 400


def test_what_is_not_usual_is_left_to_the_library() -> None:
    """QoS 0 and 2, an empty topic, properties and a packet that ends early are none of ours."""
    whole = b"\x00\x01t\x00\x07\x00"
    assert _usual_message(0x32, whole) is not None
    for command, packet in (
        (0x30, whole),
        (0x34, whole),
        (0x32, b"\x00\x00\x00\x07\x00x"),
        (0x32, b"\x00\x01t\x00\x07\x02\x01\x01x"),
        *((0x32, whole[:end]) for end in range(len(whole))),
    ):
        assert _usual_message(command, packet) is None, (command, packet)
