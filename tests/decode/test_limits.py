"""What a payload may cost: limits by its kind, and work that grows with its length alone."""

import tracemalloc
from itertools import pairwise
from typing import Any

import pytest

from brineward.decode import Decoder
from brineward.decode.documents import _remembering
from brineward.readings.values import Reading, Refusal
from decode.costly_payloads import ANY, COSTLY, OBJECT, PACK, PLAIN, sources
from decode.decoding import ARRIVED

DECODER = Decoder(sources())


class CountingKey(str):
    """A key that counts how often it is held against another."""

    compared = 0

    def __eq__(self, other: object) -> bool:
        CountingKey.compared += 1
        return super().__eq__(other)

    __hash__ = str.__hash__


def test_keys_that_stand_twice_are_found_in_one_pass() -> None:
    """Each key is held against a few others at most, however many there are: ten times the keys
    are ten times the work, not a hundred times."""
    compared = []
    for count in (1_000, 10_000):
        CountingKey.compared = 0
        pairs: list[tuple[str, Any]] = [(CountingKey(n % (count - 1)), 0) for n in range(count)]
        assert _remembering(pairs).twice == {"0"}
        compared.append(CountingKey.compared)
    assert compared[1] <= 4 * 10_000
    assert all(later <= 20 * earlier for earlier, later in pairwise(compared))


@pytest.mark.parametrize("name", COSTLY)
def test_no_payload_unfolds_beyond_measure(name: str) -> None:
    """The dearest payloads that we could think of: a megabyte and a half for a moment, few
    results, short sentences; today's parser alone takes about thirteen times a payload's bytes."""
    topic, payload = COSTLY[name]
    tracemalloc.start()
    results = DECODER.decode(topic, payload, ARRIVED, False)
    peak = tracemalloc.get_traced_memory()[1]
    tracemalloc.stop()
    assert peak < 1_500_000
    assert 1 <= len(results) <= 500
    for result in results:
        assert isinstance(result, Reading) or len(result.sentence) < 400


@pytest.mark.parametrize(
    ("topic", "payload", "reason", "words"),
    [
        (PLAIN, b"1" * 257, "too-long", "more than 256 bytes came; expected no more for a bare"),
        (ANY, b" " * 256 + b"1", "too-long", "more than 256 bytes"),
        (OBJECT, b'{"value":1}' + b" " * 16_384, "too-long", "more than 16384 bytes came"),
        (ANY, b'{"value":1}' + b" " * 16_384, "too-long", "expected no more for a JSON object"),
        (OBJECT, b'{"value":1,"x":[0' + b",0" * 1000 + b"]}", "too-many-values", "1000 values"),
        (PACK, b'[{"n":"x","v":1}]' + b" " * 65_536, "too-long", "more than 65536 bytes came"),
        (PACK, b"[" + b'{"n":"x","v":1},' * 500 + b'{"n":"x","v":1}]', "too-many-values",
         "more than 500 records came; expected no more for a SenML pack"),
        (PACK, b'[{"bn":"' + b"x" * 1001 + b'","v":1}]', "bad-label", "1000 characters"),
        (PACK, b'[{"n":"x","u":"' + b"m" * 9999 + b'","v":1}]', "wrong-unit", "expected one of"),
    ],
)  # fmt: skip
def test_what_is_beyond_a_limit_is_refused_with_a_sentence(
    topic: str, payload: bytes, reason: str, words: str
) -> None:
    """Each kind has its own limits, in bytes and in what it unfolds to."""
    (result,) = DECODER.decode(topic, payload, ARRIVED, False)
    assert isinstance(result, Refusal)
    assert result.reason == reason
    assert words in result.sentence


@pytest.mark.parametrize(
    ("topic", "payload"),
    [
        (PLAIN, b" " * 250 + b"1.5"),
        (OBJECT, b'{"value":1.5,"x":"' + b"y" * 16_000 + b'"}'),
        (PACK, b'[{"n":"x","v":1.5},{"n":"y","vs":"' + b"y" * 65_000 + b'"}]'),
    ],
)
def test_what_is_within_the_limits_is_read(topic: str, payload: bytes) -> None:
    """Long for its kind, and still a reading."""
    results = DECODER.decode(topic, payload, ARRIVED, False)
    assert [result.value for result in results if isinstance(result, Reading)] == [1.5]


def test_a_pack_of_500_records_is_read_whole() -> None:
    """A gateway's backlog in one pack, as much as one may hold."""
    payload = b"[" + b",".join(b'{"n":"x","v":1,"t":%d}' % -n for n in range(500)) + b"]"
    results = DECODER.decode(PACK, payload, ARRIVED, False)
    assert [type(result) for result in results] == [Reading] * 500


def test_a_packs_refusals_are_summed() -> None:
    """Records refused for one reason leave one refusal of their sensor, with their number."""
    pack = b'[{"n":"x","v":1},{"bu":"Cel","n":"x","v":2},{"n":"x","v":3},{"n":"x","vb":true}]'
    results = DECODER.decode(PACK, pack, ARRIVED, False)
    sentences = [result.sentence for result in results if isinstance(result, Refusal)]
    assert len(results) == 3
    assert any("unit 'Cel' is of temperature" in one and "(so 2 records)" in one
               for one in sentences)  # fmt: skip
    assert any("True came" in one and "records)" not in one for one in sentences)
