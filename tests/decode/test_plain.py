"""Bare payloads: numbers, words, and what is neither."""

import pytest

from brineward.decode import Decoder
from brineward.plant.plan import Measure
from brineward.readings.values import Quality, Reading, Refusal, TimedBy
from decode.decoding import ARRIVED, source


def one(decoder: Decoder, payload: bytes, *, retained: bool = False) -> Reading | Refusal:
    (result,) = decoder.decode(decoder.topics[0], payload, ARRIVED, retained)
    return result


@pytest.mark.parametrize(
    ("payload", "value"),
    [
        (b"2.134", 2.134),
        (b"0", 0.0),
        (b"0.0", 0.0),
        (b"-0.25", -0.25),
        (b" 2.5\r\n", 2.5),
        (b"1e-3", 0.001),
        (b"+3", 3.0),
        (b"2.", 2.0),
        (b"2.13400000000000000000000000000000000000", 2.134),
    ],
)
def test_a_bare_number_is_its_value(payload: bytes, value: float) -> None:
    """Every usual spelling of a number is read, zero included, and nothing is rounded."""
    assert one(Decoder([source()]), payload) == Reading(
        depot="tern-hollow",
        sensor="main-level",
        time=ARRIVED,
        value=value,
        received=ARRIVED,
        timed_by=TimedBy.ARRIVAL,
    )


@pytest.mark.parametrize(
    ("unit", "measures", "payload", "si"),
    [
        ("mS/cm", Measure.CONDUCTIVITY, b"172", 17.2),
        ("degF", Measure.TEMPERATURE, b"32", 0.0),
        ("kPa", Measure.PRESSURE, b"150", 150_000.0),
        ("L/s", Measure.FLOW, b"3.6", 0.0036),
        ("cm", Measure.LEVEL, b"220", 2.2),
    ],
)
def test_the_sensors_unit_becomes_si(
    unit: str, measures: Measure, payload: bytes, si: float
) -> None:
    """A number in the config's unit is stored in SI, zero shifts included."""
    result = one(Decoder([source(unit=unit, measures=measures)]), payload)
    assert isinstance(result, Reading)
    assert result.value == pytest.approx(si, rel=1e-12, abs=1e-12)


def test_the_scale_multiplies_before_the_unit() -> None:
    """Tenths of a degree Fahrenheit: 320 with scale 0.1 is freezing, not 160 degC."""
    sensor = source(unit="degF", measures=Measure.TEMPERATURE, scale=0.1)
    result = one(Decoder([sensor]), b"320")
    assert isinstance(result, Reading)
    assert result.value == pytest.approx(0.0, abs=1e-12)


@pytest.mark.parametrize(
    ("payload", "reason"),
    [
        (b"nan", "not-finite"),
        (b"NaN", "not-finite"),
        (b"-inf", "not-finite"),
        (b"Infinity", "not-finite"),
        (b"1e400", "not-finite"),
        (b"", "empty"),
        (b"   ", "not-a-number"),
        (b"wet", "not-a-number"),
        (b"2,134", "not-a-number"),
        (b"1_000", "not-a-number"),
        (b"0x10", "not-a-number"),
        (b"2.134 m", "not-a-number"),
        (b"1\x00", "not-a-number"),
        (b"true", "not-a-number"),
        (b'{"value": 2}', "not-a-number"),
        (b"9" * 200, "not-a-number"),
        (b"9" * 257, "too-long"),
        (b"\xff\xfe1", "not-utf-8"),
        ("٣".encode(), "not-a-number"),
        (b"1" * 65_537, "too-long"),
    ],
)
def test_what_is_no_finite_number_is_refused(payload: bytes, reason: str) -> None:
    """A payload that is no finite number gives a named refusal and never a value."""
    decoder = Decoder([source()])
    result = one(decoder, payload)
    assert isinstance(result, Refusal)
    assert (result.sensor, result.reason, result.received) == ("main-level", reason, ARRIVED)


def test_a_conversion_that_overflows_is_refused() -> None:
    """A finite number that is infinite in SI is refused like an infinity."""
    result = one(Decoder([source(unit="kPa", measures=Measure.PRESSURE)]), b"1e307")
    assert isinstance(result, Refusal)
    assert result.reason == "not-finite"


def test_a_refusal_says_what_where_and_what_was_expected() -> None:
    """The sentence names depot, sensor, topic, what came and what was expected."""
    result = one(Decoder([source()]), b"wet\x1b[2J")
    assert isinstance(result, Refusal)
    assert result.sentence == (
        "tern-hollow main-level: 'wet\\x1b[2J' came; expected a number in m"
        " (topic brine/tern-hollow/main-level)"
    )
    assert result.payload == b"wet\x1b[2J"
    assert result.topic == "brine/tern-hollow/main-level"


WORDS = [
    (b"1", 1.0),
    (b"0", 0.0),
    (b"true", 1.0),
    (b"FALSE", 0.0),
    (b"On", 1.0),
    (b"off", 0.0),
    (b"open", 1.0),
    (b"closed", 0.0),
    (b"yes", 1.0),
    (b"no", 0.0),
    (b"running", 1.0),
    (b"stopped", 0.0),
    (b" ON\n", 1.0),
    (b"1.0", 1.0),
]


@pytest.mark.parametrize(("payload", "value"), WORDS)
def test_a_switchs_word_is_nought_or_one(payload: bytes, value: float) -> None:
    """Each word for on and off is read in any case, and turned round where the config says."""
    for inverted in (False, True):
        result = one(Decoder([source(measures=Measure.OPEN, inverted=inverted)]), payload)
        assert isinstance(result, Reading)
        assert result.value == (1.0 - value if inverted else value)


@pytest.mark.parametrize("payload", [b"2", b"0.5", b"-1", b"nan", b"ajar", b"truetrue"])
def test_a_switch_takes_no_other_word(payload: bytes) -> None:
    """A switch that says neither yes nor no is refused, not rounded."""
    result = one(Decoder([source(measures=Measure.OPEN)]), payload)
    assert isinstance(result, Refusal)
    assert result.reason == "not-a-switch"


@pytest.mark.parametrize("measures", [Measure.LEVEL, Measure.OPEN])
def test_null_is_a_reading_without_a_value(measures: Measure) -> None:
    """A sensor that says it has no value is alive: a bad reading, neither zero nor a refusal."""
    result = one(Decoder([source(measures=measures)]), b"null")
    assert isinstance(result, Reading)
    assert (result.value, result.quality, result.reason) == (None, Quality.BAD, "no-value")


def test_a_retained_message_is_marked() -> None:
    """A retained payload keeps its mark on both the quick and the slow way."""
    decoder = Decoder([source()])
    for payload in (b"2.1", b"null"):
        result = one(decoder, payload, retained=True)
        assert isinstance(result, Reading)
        assert result.retained


def test_an_unknown_topic_is_refused() -> None:
    """A message that no sensor is configured for is not lost in silence."""
    decoder = Decoder([source()])
    (result,) = decoder.decode("brine/elsewhere", b"1", ARRIVED, False)
    assert isinstance(result, Refusal)
    assert (result.depot, result.sensor, result.reason) == ("", "", "unknown-topic")


def test_of_a_refused_payload_little_is_kept() -> None:
    """What is kept of a refused payload, and of a topic that nobody has, is 256 bytes."""
    decoder = Decoder([source()])
    for topic in (decoder.topics[0], "brine/" + "x" * 10_000):
        (result,) = decoder.decode(topic, b"y" * 10_000, ARRIVED, False)
        assert isinstance(result, Refusal)
        assert len(result.payload) == 256
        assert len(result.topic) <= 256
        assert len(result.sentence) < 300


def test_two_sensors_may_read_one_bare_topic() -> None:
    """Two sensors on one topic both get the number, each in its own unit."""
    decoder = Decoder([source("a", topic="t"), source("b", topic="t", unit="cm")])
    results = decoder.decode("t", b"200", ARRIVED, False)
    assert [(r.sensor, r.value) for r in results if isinstance(r, Reading)] == [
        ("a", 200.0),
        ("b", 2.0),
    ]
