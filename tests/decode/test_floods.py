"""The gate against floods: a flood is counted and said, and nobody else waits for it."""

import pytest

from brineward.decode import Decoder
from brineward.decode.floods import FloodGate
from brineward.readings.instants import DAY, MINUTE, SECOND
from brineward.readings.values import Reading, Refusal
from decode.decoding import ARRIVED, source

LEVEL, FLOW = "brine/tern-hollow/main-level", "brine/tern-hollow/flow"


def flood(
    decoder: Decoder, topic: str, count: int, start: int, span: int
) -> list[Reading | Refusal]:
    """So many messages spread evenly over a span of milliseconds."""
    results: list[Reading | Refusal] = []
    for number in range(count):
        results += decoder.decode(topic, b"1", start + number * span // count, False)
    return results


def kinds(results: list[Reading | Refusal]) -> tuple[int, list[str]]:
    """How many readings, and the sentences of the refusals."""
    refusals = [one.sentence for one in results if isinstance(one, Refusal)]
    return len(results) - len(refusals), refusals


def test_a_flood_is_read_at_its_rate_and_counted() -> None:
    """Ten minutes of 500 a second: a minute's worth and 20 a second are read, and once a minute
    one sentence says how many were not; every message is accounted for."""
    decoder = Decoder([source()], FloodGate())
    sent = 500 * 600
    results = flood(decoder, LEVEL, sent, ARRIVED, 10 * MINUTE)
    read, sentences = kinds(results)
    assert 1_200 + 20 * 599 <= read <= 1_200 + 20 * 600
    assert 9 <= len(sentences) <= 11
    assert all("more than 20 a second come" in one and "main-level" in one for one in sentences)
    # What has not been said yet is said with the first message after a minute of quiet.
    results += decoder.decode(LEVEL, b"1", ARRIVED + 12 * MINUTE, False)
    read, sentences = kinds(results)
    assert read + sum(int(one.split(": ")[1].split()[0]) for one in sentences) == sent + 1


def test_another_sensor_is_untouched() -> None:
    """While one floods, each reading of another is read."""
    decoder = Decoder([source(), source("flow")], FloodGate())
    for second in range(120):
        at = ARRIVED + second * SECOND
        flood(decoder, LEVEL, 1_000, at, SECOND)
        (result,) = decoder.decode(FLOW, b"1", at, False)
        assert isinstance(result, Reading)


def test_what_is_within_the_rate_is_all_read() -> None:
    """Twenty a second for ten minutes, and a thousand at once after that."""
    decoder = Decoder([source()], FloodGate())
    assert kinds(flood(decoder, LEVEL, 12_000, ARRIVED, 10 * MINUTE)) == (12_000, [])
    later = ARRIVED + 11 * MINUTE
    assert kinds(flood(decoder, LEVEL, 1_000, later, 1)) == (1_000, [])


def test_a_backlog_is_no_flood() -> None:
    """A week of a reading every ten seconds comes in five minutes once that is announced, for
    each sensor; what goes beyond it is a flood again."""
    gate = FloodGate()
    decoder = Decoder([source(), source("flow")], gate)
    assert kinds(flood(decoder, LEVEL, 5, ARRIVED - 7 * DAY, SECOND)) == (5, [])
    gate.expect_backlog(7 * DAY / SECOND, ARRIVED)
    for topic in (LEVEL, FLOW):
        assert kinds(flood(decoder, topic, 60_480, ARRIVED, 5 * MINUTE)) == (60_480, [])
    _, sentences = kinds(flood(decoder, LEVEL, 3_000, ARRIVED + DAY, SECOND))
    assert len(sentences) == 1


def test_without_announcement_a_weeks_backlog_is_cut() -> None:
    """What `expect_backlog` is for: without it most of the week is refused, and said."""
    decoder = Decoder([source()], FloodGate())
    read, sentences = kinds(flood(decoder, LEVEL, 60_480, ARRIVED, 5 * MINUTE))
    assert read < 8_000
    assert sentences


def test_a_pack_costs_what_it_holds() -> None:
    """Packs of a hundred readings use up the rate a hundred times as fast."""
    decoder = Decoder([source(kind="senml", record_name="x")], FloodGate())
    pack = b"[" + b",".join(b'{"n":"x","v":1,"t":%d}' % -n for n in range(100)) + b"]"
    counts = [len(decoder.decode(LEVEL, pack, ARRIVED, False)) for _ in range(20)]
    assert sum(counts) <= 1_301
    assert counts[:12] == [100] * 12


def test_sensors_that_share_a_topic_share_its_rate() -> None:
    """Two sensors in one object may come twice 20 a second, and both are told of a flood."""
    decoder = Decoder(
        [source(name, kind="json", topic="box", value_key=name) for name in ("a", "b")],
        FloodGate(),
    )
    results = [
        one for _ in range(1_500) for one in decoder.decode("box", b'{"a":1,"b":2}', ARRIVED, False)
    ]
    refusals = [one.sensor for one in results if isinstance(one, Refusal)]
    assert sum(isinstance(one, Reading) for one in results) == pytest.approx(2_400, abs=2)
    assert refusals == ["a", "b"]


def test_unknown_topics_take_no_memory_each() -> None:
    """A hundred thousand topics that nobody has share one count."""
    gate = FloodGate()
    decoder = Decoder([source()], gate)
    results = [
        one
        for number in range(5_000)
        for one in decoder.decode(f"brine/{number}", b"1", ARRIVED, False)
    ]
    assert len(gate._buckets) == 1
    assert len(results) == 1_201
    assert {one.reason for one in results if isinstance(one, Refusal)} == {
        "unknown-topic",
        "too-many",
    }


def test_a_clock_that_steps_back_blocks_nobody() -> None:
    """After a step back of a day, readings at the usual rate are still read, and a flood said."""
    decoder = Decoder([source()], FloodGate())
    flood(decoder, LEVEL, 2_000, ARRIVED, SECOND)
    back = ARRIVED - DAY
    read, sentences = kinds(flood(decoder, LEVEL, 1_200, back, 2 * MINUTE))
    assert read >= 1_199
    assert len(sentences) == 1
