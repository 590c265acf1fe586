"""Hostile payloads: whatever comes, no exception, no silence, and no good reading lost."""

import json
import math
from typing import Any

import orjson
from hypothesis import given, settings
from hypothesis import strategies as st

from brineward.decode import Decoder
from brineward.plant.plan import Measure
from brineward.readings.values import Reading, Refusal
from decode.decoding import ARRIVED, source

SOURCES = [
    source("plain"),
    source("switch", measures=Measure.OPEN),
    source("object", kind="json", time_key="time"),
    source("nested", kind="json", value_key="a.b", time_key="a.t", unit="cm"),
    source("json-switch", kind="json", measures=Measure.RUNNING, inverted=True),
    source("pack", kind="senml", record_name="x:level"),
    source("only", kind="senml"),
    source("shared-a", kind="json", topic="shared", value_key="a"),
    source("shared-b", kind="json", topic="shared", value_key="b"),
    source("shared-c", kind="senml", topic="shared", record_name="x:level"),
]
GOOD = {
    "plain": b"2.5",
    "switch": b"on",
    "object": b'{"value": 2.5, "time": 1767225600}',
    "nested": b'{"a": {"b": 250, "t": "2026-01-01T00:00:00Z"}}',
    "json-switch": b'{"value": false}',
    "pack": b'[{"bn": "x:", "n": "level", "u": "mm", "v": 2500}]',
    "only": b'[{"n": "y", "v": 2.5}]',
}
TOPICS = [sensor.topic for sensor in SOURCES] + ["brine/nowhere"]

numbers = st.one_of(
    st.integers(), st.floats(), st.sampled_from([10**400, -(10**30), 2**63, 2**64, 1e308, -0.0])
)
keys = st.sampled_from(
    ["value", "time", "a", "b", "t", "n", "u", "v", "vs", "vb", "vd", "s", "ut", "bn", "bt", "bu",
     "bv", "bs", "bver", "x_", "x:level"]
)  # fmt: skip
texts = st.one_of(
    st.text(max_size=20),
    st.sampled_from(["x:level", "level", "m", "Cel", "mm", "on", "nan", "1e9"]),
)
documents = st.recursive(
    st.one_of(st.none(), st.booleans(), numbers, texts),
    lambda inner: st.one_of(
        st.lists(inner, max_size=4), st.dictionaries(st.one_of(keys, texts), inner, max_size=6)
    ),
    max_leaves=12,
)


@st.composite
def torn(draw: st.DrawFn) -> bytes:
    """A good payload with a piece cut out, doubled or overwritten."""
    payload = draw(st.sampled_from(sorted(GOOD.values())))
    at = draw(st.integers(0, len(payload)))
    to = draw(st.integers(at, len(payload)))
    return payload[:at] + draw(st.binary(max_size=8)) * draw(st.integers(0, 2)) + payload[to:]


@st.composite
def bombs(draw: st.DrawFn) -> bytes:
    """Deep nesting, long digits and repeats."""
    depth = draw(st.integers(1, 3000))
    opened, closed = draw(st.sampled_from([(b"[", b"]"), (b'{"a":', b"}"), (b'{"value":', b"}")]))
    inner = draw(st.sampled_from([b"1", b"null", b'"x"', b"7" * 500]))
    return opened * depth + inner + closed * depth


hostile = st.one_of(
    st.binary(max_size=60),
    st.text(max_size=40).map(lambda text: text.encode("utf-8", "surrogatepass")),
    documents.map(lambda document: json.dumps(document).encode()),
    numbers.map(lambda number: repr(number).encode()),
    torn(),
    bombs(),
)


def known(value: Any) -> bool:
    return value is None or (isinstance(value, float) and math.isfinite(value))


@settings(max_examples=10_000, deadline=None)
@given(payload=hostile, topic=st.sampled_from(TOPICS), after=st.sampled_from(sorted(GOOD)))
def test_no_payload_raises_or_vanishes(payload: bytes, topic: str, after: str) -> None:
    """Each of 10,000 hostile payloads gives finite readings or refusals, and the good
    reading that comes after it is still read."""
    decoder = DECODER
    results = decoder.decode(topic, payload, ARRIVED, False)
    assert results
    for result in results:
        if isinstance(result, Refusal):
            assert result.sentence.isprintable()
        else:
            assert isinstance(result, Reading)
            assert known(result.value)
            assert isinstance(result.time, int)
            assert result.time >= 0
    (good,) = decoder.decode(f"brine/tern-hollow/{after}", GOOD[after], ARRIVED, False)
    assert isinstance(good, Reading)
    assert good.value == (1.0 if "switch" in after else 2.5)


DECODER = Decoder(SOURCES)


@given(number=st.floats(allow_nan=False, allow_infinity=False))
def test_every_finite_number_comes_through_unchanged(number: float) -> None:
    """A double in metres is the same double in the reading, in all three formats."""
    decoder = Decoder(
        [source("p"), source("o", kind="json"), source("s", kind="senml", record_name="s")]
    )
    payloads = {
        "p": repr(number).encode(),
        "o": orjson.dumps({"value": number}),
        "s": orjson.dumps([{"n": "s", "u": "m", "v": number}]),
    }
    for sensor, payload in payloads.items():
        (result,) = decoder.decode(f"brine/tern-hollow/{sensor}", payload, ARRIVED, False)
        assert isinstance(result, Reading)
        assert result.value == number
