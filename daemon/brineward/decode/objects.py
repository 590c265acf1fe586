"""JSON objects: a value, and a time if configured, under the keys named in the config."""

from collections.abc import Sequence
from itertools import islice
from math import isfinite
from typing import Any, Final

from brineward.decode.documents import (
    MISSING,
    found_at,
    parse,
    refuse_twice,
    remembering_twice,
)
from brineward.decode.limits import OBJECT_BYTES, OBJECT_VALUES, refuse_longer, refuse_more_values
from brineward.decode.plain import reading_of
from brineward.decode.refusals import UnreadablePayload, quoted
from brineward.decode.sensors import Read, Refuse, WantedSensor
from brineward.decode.times import instant_from_json
from brineward.readings.instants import Instant
from brineward.readings.values import Quality, Reading, Refusal, TimedBy

_KEYS_NAMED: Final = 6

_Plan = tuple[WantedSensor, tuple[bytes, ...]]
"""A sensor, and the keys on its paths as they stand in the bytes."""

_Arrival = tuple[bytes, Instant, bool]
"""Payload, time of arrival, retained."""


def object_reader(sensors: Sequence[WantedSensor], refuse: Refuse) -> Read:
    """A reader of JSON objects for all sensors of one topic.

    Where several sensors share the topic, a message may speak of some of them only.
    """
    plans = [(wanted, _quoted_keys(wanted)) for wanted in sensors]
    one = _flat_reader(sensors[0]) if len(sensors) == 1 else None

    def read(payload: bytes, received: Instant, retained: bool) -> list[Reading | Refusal]:
        refuse_longer(payload, OBJECT_BYTES, "a JSON object")
        refuse_more_values(payload, OBJECT_VALUES, "a JSON object")
        document = parse(payload)
        if type(document) is not dict:
            raise UnreadablePayload(
                "not-an-object", f"{quoted(payload)} came; expected a JSON object"
            )
        if one is not None:
            reading = one(payload, document, received, retained)
            if reading is not None:
                return [reading]
        return _read_each(plans, document, (payload, received, retained), refuse)

    return read


def _read_each(
    plans: Sequence[_Plan], document: dict[str, Any], arrival: _Arrival, refuse: Refuse
) -> list[Reading | Refusal]:
    payload, received, retained = arrival
    there = [
        (wanted, keys, found)
        for wanted, keys in plans
        if (found := found_at(document, wanted.value_path)) is not MISSING
    ]
    if not there:
        return [
            refuse(wanted, "no-such-key", _absence(wanted, document), payload, received)
            for wanted, _ in plans
        ]
    remembered: Any = None  # looked at closely once, however many sensors there are
    if any(_may_stand_twice(payload, keys) for _, keys, _ in there):
        remembered = remembering_twice(payload)
    results: list[Reading | Refusal] = []
    for wanted, _, found in there:
        try:
            if remembered is not None:
                refuse_twice(remembered, wanted.value_path)
                refuse_twice(remembered, wanted.time_path)
            results.append(_reading(wanted, document, found, received, retained))
        except UnreadablePayload as why:
            results.append(refuse(wanted, why.reason, why.sentence, payload, received))
    return results


def _flat_reader(wanted: WantedSensor) -> Any:
    """The common case, written out: one sensor, its keys at the top, a finite number."""
    if len(wanted.value_path) > 1 or len(wanted.time_path) > 1 or wanted.conversion.is_switch:
        return None
    depot, sensor, scale = wanted.depot, wanted.sensor, wanted.conversion.scale
    factor, offset = wanted.conversion.unit.factor, wanted.conversion.unit.offset
    key = wanted.value_path[0]
    time_key = wanted.time_path[0] if wanted.time_path else None
    keys = _quoted_keys(wanted)
    good, by_sensor, by_arrival = Quality.GOOD, TimedBy.SENSOR, TimedBy.ARRIVAL

    def read(
        payload: bytes, document: dict[str, Any], received: Instant, retained: bool
    ) -> Reading | None:
        number = document.get(key)
        if type(number) is not float and type(number) is not int:
            return None
        value = factor * (number * scale) + offset
        if not isfinite(value) or _may_stand_twice(payload, keys):
            return None
        found = document.get(time_key) if time_key is not None else None
        if found is None:
            return Reading(depot, sensor, received, value, received, good, "", by_arrival, retained)
        try:
            time = instant_from_json(found)
        except UnreadablePayload:
            return None
        return Reading(depot, sensor, time, value, received, good, "", by_sensor, retained)

    return read


def _reading(
    wanted: WantedSensor,
    document: dict[str, Any],
    found: object,
    received: Instant,
    retained: bool,
) -> Reading:
    value = wanted.conversion.from_json(found)
    when = found_at(document, wanted.time_path) if wanted.time_path else None
    unknown = when is None or when is MISSING
    return reading_of(
        wanted,
        time=received if unknown else instant_from_json(when),
        value=value,
        received=received,
        timed_by=TimedBy.ARRIVAL if unknown else TimedBy.SENSOR,
        retained=retained,
    )


def _quoted_keys(wanted: WantedSensor) -> tuple[bytes, ...]:
    keys = dict.fromkeys((*wanted.value_path, *wanted.time_path))
    return tuple(b'"' + key.encode() + b'"' for key in keys)


def _may_stand_twice(payload: bytes, keys: tuple[bytes, ...]) -> bool:
    """False where each key stands at most once; True where it must be looked at closely."""
    if b"\\" in payload:  # an escape can hide a key
        return True
    for key in keys:  # noqa: SIM110 - a generator would cost as much as the parsing
        if payload.count(key) > 1:
            return True
    return False


def _absence(wanted: WantedSensor, document: dict[str, Any]) -> str:
    """Which key is missing, and what stands there instead of it."""
    path = wanted.value_path
    at = next(n for n in range(len(path)) if found_at(document, path[: n + 1]) is MISSING)
    whole = f" of {quoted('.'.join(path))}" if len(path) > 1 else ""
    there = _what_is_there(found_at(document, path[:at]))
    return f"no key {quoted(path[at])}{whole} in the JSON object; {there}"


def _what_is_there(found: Any) -> str:
    if isinstance(found, dict):
        keys = ", ".join(quoted(key) for key in islice(found, _KEYS_NAMED)) or "none"
        more = len(found) - _KEYS_NAMED
        return f"the keys that came: {keys}" + (f" and {more} more" if more > 0 else "")
    if isinstance(found, list):
        return f"an array of {len(found)} came, its places counted from 0"
    return f"{quoted(found)} came there"
