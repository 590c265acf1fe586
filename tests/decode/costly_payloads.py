"""Payloads made to be as dear as their kind allows, for tests that count and a bench that times."""

from brineward.config.settings import SensorSource
from brineward.plant.plan import Measure
from decode.decoding import source

OBJECT = "brine/tern-hollow/object"
SHARED = "brine/tern-hollow/shared"
PACK = "brine/tern-hollow/pack"
PLAIN = "brine/tern-hollow/plain"
ANY = "brine/tern-hollow/any"


def sources() -> list[SensorSource]:
    """Sensors on topics of each kind; fifty share one object."""
    return [
        source("plain", topic=PLAIN),
        source("switch", kind="any", topic=ANY, measures=Measure.OPEN),
        source("object", kind="json", topic=OBJECT, time_key="t"),
        source("pack", kind="senml", topic=PACK, record_name="x"),
        *(source(f"s{n}", kind="json", topic=SHARED, value_key=f"a.{n}") for n in range(50)),
    ]


def _filled(head: bytes, piece: bytes, tail: bytes, most: int, pieces: int = 10**6) -> bytes:
    count = min(pieces, (most - len(head) - len(tail)) // len(piece))
    return head + piece * count + tail


def _keys(head: bytes, most: int, keys: int = 10**6) -> bytes:
    """An object of so many different keys, or as many as there is room for."""
    pieces = [head]
    size = len(head) + 1
    number = 0
    while number < keys and size + len(piece := b',"%x":0' % number) <= most:
        pieces.append(piece)
        size += len(piece)
        number += 1
    return b"".join(pieces) + b"}"


COSTLY: dict[str, tuple[str, bytes]] = {
    "all keys allowed, one twice": (OBJECT, _keys(b'{"value":1,"value":2', 16_384, 990)),
    "all lists allowed, looked at twice": (
        OBJECT,
        _filled(b'{"value":1,"x":"\\u0041","y":[{}', b",{}", b"]}", 16_384, 490),
    ),
    "fifty sensors, all keys allowed": (
        SHARED,
        _filled(b'{"a":{"0":1,"1":2},"b":"\\u0041"', b',"1":1', b"}", 16_384, 990),
    ),
    "all labels allowed, one twice": (
        PACK,
        _keys(b'[{"n":"x","v":1,"v":2', 65_500, 4_990) + b"]",
    ),
    "many keys, one twice, 64 KB": (OBJECT, _keys(b'{"value":1,"value":2', 65_536)),
    "many keys, one twice": (OBJECT, _keys(b'{"value":1,"value":2', 16_384)),
    "the same key again and again": (OBJECT, _filled(b'{"value":1', b',"value":2', b"}", 16_384)),
    "empty lists": (OBJECT, _filled(b'{"value":1,"x":[[]', b",[]", b"]}", 16_384)),
    "empty objects, looked at twice": (
        OBJECT,
        _filled(b'{"value":1,"x":"\\u0041","y":[{}', b",{}", b"]}", 16_384),
    ),
    "nested deep": (OBJECT, b'{"value":1,"x":"\\u0041","y":' + b"[" * 1000 + b"]" * 1000 + b"}"),
    "fifty sensors, keys twice": (
        SHARED,
        _filled(b'{"a":{"0":1,"1":2},"b":"\\u0041"', b',"1":1', b"}", 16_384),
    ),
    "fifty sensors, none found": (SHARED, _keys(b'{"value":1', 16_384)),
    "a long text": (OBJECT, _filled(b'{"value":"', b"9", b'"}', 16_384)),
    "a long time": (OBJECT, _filled(b'{"value":1,"t":"', b"00:00:60.", b'"}', 16_384)),
    "a bare number of 64 KB": (PLAIN, b"9" * 65_536),
    "spaces before a word": (ANY, b" " * 65_530 + b"on"),
    "records by the thousand": (PACK, _filled(b'[{"n":"x"}', b',{"v":1}', b"]", 65_536)),
    "a pack of all the records allowed": (
        PACK,
        b'[{"bn":"x","v":1}' + b',{"t":-1000,"v":1.5}' * 499 + b"]",
    ),
    "records all refused": (
        PACK,
        b'[{"bn":"x","bu":"' + b"m" * 40_000 + b'","v":1}' + b',{"v":1}' * 499 + b"]",
    ),
    "a name that unfolds": (
        PACK,
        b'[{"bn":"' + b"x" * 60_000 + b'","v":1}' + b',{"n":"y"}' * 499 + b"]",
    ),
    "other labels in a record": (PACK, _filled(b'[{"n":"x","v":1', b',"q":[]', b"}]", 65_536)),
    "labels twice in a record": (
        PACK,
        _keys(b'[{"n":"x","v":1,"v":2', 65_500) + b"]",
    ),
}
"""By name: a topic of `sources` and a payload."""
