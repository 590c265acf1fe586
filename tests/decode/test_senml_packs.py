"""SenML packs: the standard's own examples, then what each rule of it refuses."""

from typing import Any

import orjson
import pytest

from brineward.decode import Decoder
from brineward.decode.senml import records_of, resolved
from brineward.plant.plan import Measure
from brineward.quantities.units import Unit
from brineward.readings.values import Quality, Reading, Refusal, TimedBy
from decode import rfc8428_examples as rfc
from decode.decoding import ARRIVED, source

TOPIC = "brine/tern-hollow/pack"
WIRE = "urn:dev:ow:10e2073a01080063"


def wanting(record_name: str | None, **more: Any) -> Decoder:
    return Decoder([source("x", kind="senml", topic=TOPIC, record_name=record_name, **more)])


def level(record_name: str | None = None) -> Decoder:
    return wanting(record_name, measures=Measure.LEVEL, unit="m")


def celsius(record_name: str | None) -> Decoder:
    return wanting(record_name, measures=Measure.TEMPERATURE, unit="degC")


def amperes(record_name: str) -> Decoder:
    return wanting(record_name, measures=Measure.CURRENT, unit="A")


def taken(decoder: Decoder, payload: bytes, *, retained: bool = False) -> list[tuple[Any, ...]]:
    return [
        (r.value, r.time, r.timed_by) if isinstance(r, Reading) else (r.reason,)
        for r in decoder.decode(TOPIC, payload, ARRIVED, retained)
    ]


def test_rfc_8428_section_5_1_1() -> None:
    """A single datapoint without a time is a reading of now: of its arrival."""
    for name in (None, WIRE):
        assert taken(celsius(name), rfc.SINGLE_5_1_1) == [(23.1, ARRIVED, TimedBy.ARRIVAL)]


def test_rfc_8428_section_5_1_2() -> None:
    """The base name stands before each name, base unit and base time apply until changed."""
    assert taken(amperes(f"{WIRE}:current"), rfc.NOW_5_1_2) == [(1.2, ARRIVED, TimedBy.ARRIVAL)]
    now = 1_276_020_076_001
    assert taken(amperes("urn:dev:ow:10e2073a0108006:current"), rfc.SECONDS_5_1_2) == [
        (value, now - seconds * 1000, TimedBy.SENSOR)
        for value, seconds in ((1.2, 5), (1.3, 4), (1.4, 3), (1.5, 2), (1.6, 1), (1.7, 0))
    ]
    volts = Unit(name="V", quantity="voltage")
    sensor = source("volts", kind="senml", topic=TOPIC, measures=Measure.CURRENT,
                    record_name="urn:dev:ow:10e2073a0108006:voltage")  # fmt: skip
    voltage = Decoder([type(sensor)(
        depot=sensor.depot, sensor=sensor.sensor, measures=sensor.measures, topic=TOPIC,
        unit=volts, payload=sensor.payload)])  # fmt: skip
    assert taken(voltage, rfc.SECONDS_5_1_2) == [(120.1, now, TimedBy.SENSOR)]


def test_rfc_8428_section_5_1_2_stream() -> None:
    """The times of the stream resolve to every ten seconds from its base time."""
    seconds = [record.seconds for record in resolved(records_of(rfc.STREAM_5_1_2))]
    assert seconds == [1_320_067_464 + 10 * step for step in range(9)]


def test_rfc_8428_sections_5_1_3_and_5_1_4() -> None:
    """The pack of 5.1.3 resolves to exactly the pack that 5.1.4 prints."""
    ours = [
        {"n": record.name, "u": record.unit, "t": record.seconds, "v": record.fields["v"]}
        for record in resolved(records_of(rfc.MEASUREMENTS_5_1_3))
    ]
    assert ours == orjson.loads(rfc.RESOLVED_5_1_4)


def test_rfc_8428_section_5_1_5() -> None:
    """Of several data types, a number and a boolean are readings; text and bytes are not."""
    pack = rfc.TYPES_5_1_5
    assert taken(celsius(f"{WIRE}:temp"), pack) == [(23.1, ARRIVED, TimedBy.ARRIVAL)]
    door = wanting(f"{WIRE}:open", measures=Measure.OPEN)
    assert taken(door, pack) == [(0.0, ARRIVED, TimedBy.ARRIVAL)]
    assert taken(wanting(f"{WIRE}:label", measures=Measure.OPEN), pack) == [("not-a-switch",)]
    assert taken(celsius(f"{WIRE}:label"), pack) == [("not-a-number",)]
    assert taken(celsius(f"{WIRE}:nfc-reader"), pack) == [("not-a-number",)]
    assert taken(celsius(f"{WIRE}:open"), pack) == [("not-a-number",)]


def test_rfc_8428_section_5_1_6() -> None:
    """The last records use the third record's base name and the first record's base time."""
    at = 1_320_078_429_000
    pack = rfc.RESOURCES_5_1_6
    assert taken(celsius("2001:db8::2/temperature"), pack) == [(25.2, at, TimedBy.SENSOR)]
    assert taken(celsius("2001:db8::1/temperature"), pack) == [(12.3, at, TimedBy.SENSOR)]
    assert taken(celsius("2001:db8::1/humidity"), pack) == [("wrong-unit",)]


def test_rfc_8428_section_5_1_7() -> None:
    """A record of base fields alone is no reading; a switch may come as a ratio of 0 or 1."""
    heat = wanting(f"{WIRE}:heat", measures=Measure.RUNNING)
    assert taken(heat, rfc.THERMOSTAT_5_1_7) == [(1.0, ARRIVED, TimedBy.ARRIVAL)]
    fan = wanting(f"{WIRE}:fan", measures=Measure.RUNNING)
    assert taken(fan, rfc.THERMOSTAT_5_1_7) == [(0.0, ARRIVED, TimedBy.ARRIVAL)]
    light = wanting("2001:db8::4", measures=Measure.POWER)
    at = 1_320_078_429_000
    assert taken(light, rfc.LIGHTS_5_1_7) == [(1.0, at, TimedBy.SENSOR)]
    assert sorted(taken(light, rfc.DIMMED_5_1_7), key=len) == [
        ("not-a-switch",),
        (0.0, at + 100, TimedBy.SENSOR),
    ]


def test_one_pack_feeds_several_sensors() -> None:
    """Records go to the sensors they are named for, each in its own unit; others are passed by."""
    decoder = Decoder(
        [
            source("level", kind="senml", topic=TOPIC, record_name="th:level"),
            source("warm", kind="senml", topic=TOPIC, record_name="th:t", unit="degF",
                   measures=Measure.TEMPERATURE),
        ]
    )  # fmt: skip
    payload = (
        b'[{"bn":"th:","bt":1767225000,"n":"level","u":"cm","v":210,"ut":30},'
        b'{"n":"t","u":"K","v":268.15},{"n":"battery","u":"%EL","v":90}]'
    )
    first, second = decoder.decode(TOPIC, payload, ARRIVED, True)
    assert isinstance(first, Reading)
    assert (first.sensor, first.value, first.silent_after_seconds) == ("level", 2.1, 30.0)
    assert first.retained
    assert isinstance(second, Reading)
    assert (second.sensor, second.silent_after_seconds) == ("warm", None)
    assert second.value == pytest.approx(-5.0)


@pytest.mark.parametrize(
    ("unit", "measures", "sent", "number", "si"),
    [
        ("m", Measure.LEVEL, "mm", 2134, 2.134),
        ("mS/cm", Measure.CONDUCTIVITY, "S/m", 17.2, 17.2),
        ("psi", Measure.PRESSURE, "hPa", 1500, 150_000.0),
        ("gal/min", Measure.FLOW, "l/s", 3.6, 0.0036),
        ("g/cm3", Measure.DENSITY, "kg/m3", 1176, 1176.0),
        ("mA", Measure.CURRENT, "A", 4.2, 4.2),
    ],
)
def test_the_packs_unit_goes_before_the_configs(
    unit: str, measures: Measure, sent: str, number: float, si: float
) -> None:
    """A pack says its unit itself; the config's unit only says of which quantity it must be."""
    payload = orjson.dumps([{"n": "x", "u": sent, "v": number}])
    ((value, *_),) = taken(wanting("x", unit=unit, measures=measures), payload)
    assert value == pytest.approx(si, rel=1e-12)


def test_without_a_unit_the_configs_counts() -> None:
    """RFC 8428 allows a record without unit and base unit: then the config's own applies."""
    decoder = wanting("x", unit="cm", measures=Measure.LEVEL)
    assert taken(decoder, b'[{"n":"x","v":210}]') == [(2.1, ARRIVED, TimedBy.ARRIVAL)]


@pytest.mark.parametrize("unit", ["Cel", "kg", "mS/cm", "M", "degC", ""])
def test_a_unit_of_another_quantity_is_refused(unit: str) -> None:
    """A level in degrees, or in a name that nobody registered, is refused and never converted."""
    payload = orjson.dumps([{"n": "x", "u": unit, "v": 2}])
    assert taken(level("x"), payload) == [("wrong-unit",)]


def test_base_values_are_added_and_may_stand_alone() -> None:
    """RFC 8428 section 4.5.4: base value and value are added, a missing one counts as zero."""
    payload = b'[{"n":"x","u":"m","bv":2,"v":0.5,"t":-1},{"n":"x","u":"m"}]'
    assert [row[0] for row in taken(level("x"), payload)] == [2.5, 2.0]


@pytest.mark.parametrize(
    ("seconds", "time", "timed_by"),
    [
        (2**28, 2**28 * 1000, TimedBy.SENSOR),  # RFC 8428: 1978-07-04T21:24:16Z
        (2**28 - 1, ARRIVED + (2**28 - 1) * 1000, TimedBy.ARRIVAL),
        (-60, ARRIVED - 60_000, TimedBy.ARRIVAL),
        (0, ARRIVED, TimedBy.ARRIVAL),
        (1_767_225_599.9996, 1_767_225_600_000, TimedBy.SENSOR),
    ],
)
def test_times_below_two_to_the_28_are_relative(
    seconds: float, time: int, timed_by: TimedBy
) -> None:
    """A relative time counts from the arrival and is marked so; an absolute one stands."""
    payload = orjson.dumps([{"n": "x", "v": 2, "t": seconds}])
    assert taken(level("x"), payload) == [(2.0, time, timed_by)]


def test_a_packs_readings_come_in_order_of_time() -> None:
    """Whatever a pack's order, its readings are handed on oldest first."""
    payload = b'[{"bn":"x","bt":1767225000,"v":3},{"t":-20,"v":1},{"t":-10,"v":2}]'
    assert [row[0] for row in taken(level(), payload)] == [1.0, 2.0, 3.0]


@pytest.mark.parametrize(
    ("record", "reason"),
    [
        ({"v": 2, "later_": 1}, "unknown-label"),
        ({"v": 2, "bver": 11}, "later-version"),
        ({"v": 2, "bver": "10"}, "bad-label"),
        ({"v": 2, "bver": 0}, "bad-label"),
        ({"s": 12.5}, "sum"),
        ({"bs": 1.0, "u": "m"}, "sum"),
        ({"u": "m"}, "no-value"),
        ({"v": 2, "vb": True}, "two-values"),
        ({"v": "2 m"}, "not-a-number"),
        ({"vb": True}, "not-a-number"),
        ({"v": 2, "t": "now"}, "bad-label"),
        ({"v": 2, "u": 5}, "bad-label"),
        ({"v": 2, "n": None}, "bad-label"),
        ({"v": 2, "t": True}, "bad-label"),
        ({"v": 2, "ut": -1}, "bad-label"),
        ({"v": 2, "t": 1e300}, "bad-time"),
        ({"v": 2, "t": -1e300}, "bad-time"),
        ({"v": 2, "bt": 1e308, "t": 1e308}, "bad-time"),
        ({"v": 2, "t": -1e10}, "bad-time"),
        ({"v": 1e308, "bv": 1e308}, "not-finite"),
        ({"v": [1]}, "not-a-number"),
    ],
)
def test_what_the_standard_forbids_is_refused(record: dict[str, Any], reason: str) -> None:
    """Each rule of RFC 8428 that a record breaks has a name, and gives no reading."""
    payload = orjson.dumps([{"n": "x", **record}])
    assert taken(level("x"), payload) == [(reason,)]


@pytest.mark.parametrize(
    ("payload", "reason"),
    [
        (b"", "empty"),
        (b"[", "not-json"),
        (b"{}", "not-a-pack"),
        (b"[1]", "not-a-pack"),
        (b"[[]]", "not-a-pack"),
        (b"[]", "no-such-record"),
        (b'[{"bn":"x"}]', "no-such-record"),
        (b'[{"n":"y","v":2}]', "no-such-record"),
        (b'[{"n":"x","v":1,"v":2}]', "key-twice"),
        (b'[{"n":"x","v":1,"\\u0076":2}]', "key-twice"),
        (b"[" * 2000 + b"]" * 2000, "not-json"),
    ],
)
def test_what_is_no_pack_is_refused(payload: bytes, reason: str) -> None:
    """What is no pack, or has nothing for the sensor, is refused by name."""
    assert taken(level("x"), payload) == [(reason,)]


def test_an_unknown_label_is_passed_over() -> None:
    """RFC 8428 section 4.4: labels not known are ignored unless they end in an underscore."""
    payload = b'[{"n":"x","v":2,"mood":{"a":"b","c":[1]},"note":"he said \\"x\\""}]'
    assert taken(level("x"), payload) == [(2.0, ARRIVED, TimedBy.ARRIVAL)]


def test_a_sum_beside_a_value_is_ignored() -> None:
    """A record may have both: the value is taken."""
    assert taken(level("x"), b'[{"n":"x","v":2,"s":99}]') == [(2.0, ARRIVED, TimedBy.ARRIVAL)]


def test_without_a_record_name_a_pack_must_have_one_name() -> None:
    """A sensor without a record name takes the only one, and never guesses among several."""
    assert taken(level(), b'[{"n":"x","v":2}]') == [(2.0, ARRIVED, TimedBy.ARRIVAL)]
    assert taken(level(), b'[{"n":"x","v":2},{"n":"y","v":3}]') == [("no-such-record",)]


def test_a_null_value_is_a_reading_without_a_value() -> None:
    """A sensor in a pack can say that it has no value, like any other."""
    (result,) = level("x").decode(TOPIC, b'[{"n":"x","v":null}]', ARRIVED, False)
    assert isinstance(result, Reading)
    assert (result.value, result.quality) == (None, Quality.BAD)


def test_a_bad_record_does_not_cost_its_neighbours() -> None:
    """Of two records one of which can't be used, the other is still a reading."""
    payload = b'[{"n":"x","u":"Cel","v":2},{"n":"x","u":"m","v":2}]'
    results = level("x").decode(TOPIC, payload, ARRIVED, False)
    assert sorted(type(result).__name__ for result in results) == ["Reading", "Refusal"]
    (refusal,) = [result for result in results if isinstance(result, Refusal)]
    assert refusal.sentence == (
        "tern-hollow x: unit 'Cel' is of temperature; expected one of length"
        " (topic brine/tern-hollow/pack)"
    )
