"""What the reader of a topic knows about a sensor."""

from collections.abc import Callable
from dataclasses import dataclass

from brineward.config.settings import SensorSource
from brineward.decode.conversion import Conversion, conversion_for
from brineward.readings.instants import Instant
from brineward.readings.values import Reading, Refusal

Read = Callable[[bytes, Instant, bool], list[Reading | Refusal]]
"""Payload, time of arrival, retained: what came of it. Raises: UnreadablePayload."""

Refuse = Callable[["WantedSensor", "str", "str", bytes, Instant], Refusal]
"""Sensor, reason, sentence, payload, time of arrival: the refusal, counted."""


@dataclass(frozen=True, slots=True, kw_only=True)
class WantedSensor:
    """One sensor: where its value is in a payload, and how it is converted to SI."""

    depot: str
    sensor: str
    topic: str
    conversion: Conversion
    value_path: tuple[str, ...]
    time_path: tuple[str, ...]
    """Empty where the payload has no time."""
    record_name: str | None


def wanted_sensor(source: SensorSource) -> WantedSensor:
    """What a topic's reader must know of one configured sensor."""
    payload = source.payload
    return WantedSensor(
        depot=source.depot,
        sensor=source.sensor,
        topic=source.topic,
        conversion=conversion_for(source),
        value_path=tuple(payload.value_key.split(".")),
        time_path=tuple(payload.time_key.split(".")) if payload.time_key else (),
        record_name=payload.record_name,
    )
