"""JSON objects: keys of the config's choice, times in three spellings."""

import pytest

from brineward.decode import Decoder
from brineward.plant.plan import Measure
from brineward.readings.instants import instant_from_rfc3339
from brineward.readings.values import Quality, Reading, Refusal, TimedBy
from decode.decoding import ARRIVED, source

TOPIC = "brine/tern-hollow/box"


def decoded(decoder: Decoder, payload: bytes) -> list[Reading | Refusal]:
    return decoder.decode(TOPIC, payload, ARRIVED, False)


def plain(**payload: str) -> Decoder:
    return Decoder([source(kind="json", topic=TOPIC, **payload)])


@pytest.mark.parametrize(
    ("payload", "value"),
    [
        (b'{"value": 2.134}', 2.134),
        (b'{"value": 0}', 0.0),
        (b'{"value": -0.0}', 0.0),
        (b'{"value": "2.134"}', 2.134),
        (b'{"rssi": -71, "value": 3, "note": "value"}', 3.0),
        (b'{"note": "\\"value\\"", "value": 3}', 3.0),
    ],
)
def test_a_value_is_found_under_its_key(payload: bytes, value: float) -> None:
    """A number, or a number in quotes, is read whatever else the object holds."""
    (result,) = decoded(plain(), payload)
    assert isinstance(result, Reading)
    assert (result.value, result.time, result.timed_by) == (value, ARRIVED, TimedBy.ARRIVAL)


def test_dots_step_into_nested_objects() -> None:
    """Keys with dots reach into nested objects, for the value and for the time."""
    decoder = plain(value_key="probe.level.m", time_key="probe.at")
    payload = b'{"probe": {"level": {"m": 1.5}, "at": 1767225000}, "m": 9}'
    (result,) = decoded(decoder, payload)
    assert isinstance(result, Reading)
    assert (result.value, result.time) == (1.5, 1_767_225_000_000)


@pytest.mark.parametrize(
    ("time", "instant"),
    [
        # RFC 3339 section 5.8, the standard's own examples; the second is 1996-12-20T00:39:57Z.
        ('"1985-04-12T23:20:50.52Z"', 482_196_050_520),
        ('"1996-12-19T16:39:57-08:00"', 851_042_397_000),
        ('"1990-12-31T23:59:60Z"', 662_688_000_000),
        ('"1990-12-31T15:59:60-08:00"', 662_688_000_000),
        ("1767225601", 1_767_225_601_000),
        ("1767225601.25", 1_767_225_601_250),
        ("1767225601250", 1_767_225_601_250),
        ("1767225601250.0", 1_767_225_601_250),
        ("0", 0),
    ],
)
def test_three_spellings_of_a_time_are_read(time: str, instant: int) -> None:
    """RFC 3339 text, seconds and milliseconds give the same instant, to the millisecond."""
    payload = f'{{"value": 2, "time": {time}}}'.encode()
    (result,) = decoded(plain(time_key="time"), payload)
    assert isinstance(result, Reading)
    assert (result.time, result.timed_by, result.received) == (instant, TimedBy.SENSOR, ARRIVED)


def test_the_leap_second_is_the_first_of_the_next_minute() -> None:
    """RFC 3339's own leap second is not refused, but counted as POSIX counts it."""
    assert instant_from_rfc3339("1991-01-01T00:00:00Z") == 662_688_000_000


@pytest.mark.parametrize("payload", [b'{"value": 2}', b'{"value": 2, "time": null}'])
def test_without_a_time_the_arrival_counts(payload: bytes) -> None:
    """A sensor that does not know the time is timed by its arrival, and that is said."""
    (result,) = decoded(plain(time_key="time"), payload)
    assert isinstance(result, Reading)
    assert (result.time, result.timed_by) == (ARRIVED, TimedBy.ARRIVAL)


@pytest.mark.parametrize(
    "time",
    [
        '"yesterday"',
        '"2026-01-01T00:00:00"',
        '"2026-02-30T00:00:00Z"',
        '"2026-01-01T12:60:00Z"',
        '"2026-01-01T12:60:60Z"',
        '""',
        "-1",
        "1e300",
        "99999999999999999999",
        "true",
        "[1767225601]",
        "{}",
    ],
)
def test_an_impossible_time_is_refused(time: str) -> None:
    """A value with a time that cannot be is refused; its time is not guessed."""
    payload = f'{{"value": 2, "time": {time}}}'.encode()
    (result,) = decoded(plain(time_key="time"), payload)
    assert isinstance(result, Refusal)
    assert result.reason == "bad-time"


@pytest.mark.parametrize(
    ("payload", "reason"),
    [
        (b"", "empty"),
        (b"{", "not-json"),
        (b"\xff", "not-json"),
        (b'{"value": NaN}', "not-json"),
        (b'{"value": -Infinity}', "not-json"),
        (b'{"value": 1e999}', "not-json"),
        (b'{"value": ' + b"7" * 5000 + b"}", "not-json"),
        (b"[" * 900 + b"]" * 900, "not-an-object"),
        (b"[" * 8_000 + b"]" * 8_000, "too-many-values"),
        (b'{"value": 1,' + b" " * 16_384 + b"}", "too-long"),
        (b"2.134", "not-an-object"),
        (b"null", "not-an-object"),
        (b"[2.134]", "not-an-object"),
        (b'{"Value": 2}', "no-such-key"),
        (b"{}", "no-such-key"),
        (b'{"value": true}', "not-a-number"),
        (b'{"value": "wet"}', "not-a-number"),
        (b'{"value": [2]}', "not-a-number"),
        (b'{"value": {"value": 2}}', "not-a-number"),
        (b'{"value": ' + b"[" * 990 + b"]" * 990 + b"}", "not-a-number"),
        (b'{"value": "nan"}', "not-finite"),
        (b'{"value": 1, "value": 2}', "key-twice"),
        (b'{"value": 1, "v\\u0061lue": 2}', "key-twice"),
    ],
)
def test_what_is_no_reading_is_refused(payload: bytes, reason: str) -> None:
    """Each way of being no reading has its own name, and none raises."""
    (result,) = decoded(plain(), payload)
    assert isinstance(result, Refusal)
    assert result.reason == reason


def test_a_key_twice_elsewhere_costs_nothing() -> None:
    """Only a repeat of a key that is read makes the value ambiguous."""
    decoder = plain(value_key="a.value")
    payload = b'{"a": {"value": 1}, "b": {"value": 2, "value": 3}, "x": 1, "x": 2}'
    (result,) = decoded(decoder, payload)
    assert isinstance(result, Reading)
    assert result.value == 1.0
    (result,) = decoded(decoder, b'{"a": {"value": 1}, "a": {"value": 2}}')
    assert isinstance(result, Refusal)
    assert result.reason == "key-twice"


def test_nesting_that_is_just_bearable_raises_nothing() -> None:
    """Where a key may stand twice the payload is looked at again, by a parser that bears less."""
    deep = b"[" * 990 + b"]" * 990
    (result,) = decoded(plain(), b'{"value": 1, "note": "value", "deep": ' + deep + b"}")
    # How much it bears is the interpreter's affair; either answer is a good one.
    bore_it = isinstance(result, Reading) and result.value == 1.0
    assert bore_it or (isinstance(result, Refusal) and result.reason == "too-deep")


def test_a_time_key_twice_is_refused() -> None:
    """Two times make a reading's time ambiguous, also when the value stands once."""
    (result,) = decoded(plain(time_key="t"), b'{"value": 1, "t": 1767225600, "t": 1767225601}')
    assert isinstance(result, Refusal)
    assert result.reason == "key-twice"


def test_null_says_that_there_is_no_value() -> None:
    """A null value is a bad reading at its own time; zero stays a good one."""
    (result,) = decoded(plain(time_key="t"), b'{"value": null, "t": 1767225600}')
    assert isinstance(result, Reading)
    assert (result.value, result.quality, result.timed_by) == (None, Quality.BAD, TimedBy.SENSOR)


def test_several_sensors_share_one_object() -> None:
    """One message feeds several sensors; a bad part costs only its own sensor."""
    decoder = Decoder(
        [
            source("level", kind="json", topic=TOPIC, value_key="level"),
            source("warm", kind="json", topic=TOPIC, value_key="t", measures=Measure.TEMPERATURE,
                   unit="degC"),
            source("pump", kind="json", topic=TOPIC, value_key="on", measures=Measure.RUNNING),
        ]
    )  # fmt: skip
    results = decoded(decoder, b'{"level": 2.1, "t": "warm", "on": false}')
    assert [type(result) for result in results] == [Reading, Refusal, Reading]
    assert [r.value for r in results if isinstance(r, Reading)] == [2.1, 0.0]
    assert [(r.sensor, r.reason) for r in results if isinstance(r, Refusal)] == [
        ("warm", "not-a-number")
    ]


def test_a_shared_object_may_speak_of_some_sensors_only() -> None:
    """A box that sends its sensors in turn is not refused for those it passes over."""
    decoder = Decoder(
        [source(name, kind="json", topic=TOPIC, value_key=name) for name in ("a", "b")]
    )
    (result,) = decoded(decoder, b'{"a": 1}')
    assert isinstance(result, Reading)
    results = decoded(decoder, b'{"c": 1}')
    assert [result.sensor for result in results if isinstance(result, Refusal)] == ["a", "b"]


def test_a_broken_object_is_refused_for_each_of_its_sensors() -> None:
    """What several sensors lose is counted for each of them."""
    decoder = Decoder(
        [source(name, kind="json", topic=TOPIC, value_key=name) for name in ("a", "b")]
    )
    results = decoded(decoder, b"{")
    assert [(r.sensor, r.reason) for r in results if isinstance(r, Refusal)] == [
        ("a", "not-json"),
        ("b", "not-json"),
    ]


def test_kinds_may_be_mixed_on_one_topic() -> None:
    """A bare reader and an object reader on one topic each judge the payload by themselves."""
    decoder = Decoder([source("a", topic=TOPIC), source("b", kind="json", topic=TOPIC)])
    results = decoded(decoder, b'{"value": 2}')
    assert [type(result) for result in results] == [Refusal, Reading]


def test_switches_in_objects() -> None:
    """Booleans, words and 0/1 are switches; inversion turns all of them round."""
    decoder = Decoder([source(kind="json", topic=TOPIC, measures=Measure.POWER, inverted=True)])
    for text, value in ((b"true", 0.0), (b'"off"', 1.0), (b"0", 1.0), (b"1.0", 0.0)):
        (result,) = decoded(decoder, b'{"value": ' + text + b"}")
        assert isinstance(result, Reading)
        assert result.value == value
    (result,) = decoded(decoder, b'{"value": 2}')
    assert isinstance(result, Refusal)
    assert result.reason == "not-a-switch"


@pytest.mark.parametrize(
    ("key", "payload", "value"),
    [
        ("readings.0.v", b'{"readings": [{"v": 1.5}, {"v": 9}]}', 1.5),
        ("readings.1.v", b'{"readings": [{"v": 9}, {"v": 1.5}]}', 1.5),
        ("rows.1.0", b'{"rows": [[9, 9], [1.5]]}', 1.5),
        ("by-number.0", b'{"by-number": {"0": 1.5}}', 1.5),
    ],
)
def test_a_place_in_an_array_is_reached(key: str, payload: bytes, value: float) -> None:
    """A number in a key path is a place in an array, counted from 0, or a key that is a number."""
    (result,) = decoded(plain(value_key=key), payload)
    assert isinstance(result, Reading)
    assert result.value == value


def test_a_time_in_an_array_is_reached_too() -> None:
    """The time of the same element, at its own time."""
    decoder = plain(value_key="readings.0.v", time_key="readings.0.t")
    (result,) = decoded(decoder, b'{"readings": [{"v": 1.5, "t": 1767225000}, {"v": 2, "t": 1}]}')
    assert isinstance(result, Reading)
    assert (result.value, result.time) == (1.5, 1_767_225_000_000)


def test_a_key_twice_inside_an_array_is_refused() -> None:
    """Ambiguity is seen wherever the path leads."""
    (result,) = decoded(plain(value_key="r.0.v"), b'{"r": [{"v": 1, "v": 2}]}')
    assert isinstance(result, Refusal)
    assert result.reason == "key-twice"


@pytest.mark.parametrize(
    ("key", "payload", "words"),
    [
        ("v", b'{"value": 2, "t": 1}', ("no key 'v' in the JSON object;"
         " the keys that came: 'value', 't'")),
        ("v", b"{}", "no key 'v' in the JSON object; the keys that came: none"),
        ("probe.v", b'{"probe": {"level": 2}}', ("no key 'v' of 'probe.v' in the JSON object;"
         " the keys that came: 'level'")),
        ("r.2.v", b'{"r": [{"v": 1}]}', ("no key '2' of 'r.2.v' in the JSON object;"
         " an array of 1 came, its places counted from 0")),
        ("r.v", b'{"r": 5}', "no key 'v' of 'r.v' in the JSON object; 5 came there"),
        ("r.-1", b'{"r": [5]}', "no key '-1' of 'r.-1' in the JSON object; an array of 1 came"),
        ("v", b'{"\x1b[2J": 1, "b": 1, "c": 1, "d": 1, "e": 1, "f": 1, "g": 1, "h": 1}',
         "not-json"),
        ("v", b'{"\\u001b[2J": 1, "b": 1, "c": 1, "d": 1, "e": 1, "f": 1, "g": 1, "h": 1}',
         "the keys that came: '\\x1b[2J', 'b', 'c', 'd', 'e', 'f' and 2 more"),
    ],
)  # fmt: skip
def test_a_key_that_is_not_there_is_said_with_those_that_are(
    key: str, payload: bytes, words: str
) -> None:
    """The refusal names the key wanted and the keys that came, a few and printable."""
    (result,) = decoded(plain(value_key=key), payload)
    assert isinstance(result, Refusal)
    assert words in result.sentence or words == result.reason
    assert result.sentence.isprintable()
