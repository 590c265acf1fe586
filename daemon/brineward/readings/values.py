"""A reading: one value of one sensor, when it was measured and how good it is."""

from enum import StrEnum
from typing import NamedTuple

from brineward.readings.instants import Instant


class Quality(StrEnum):
    """How far a reading may be trusted (the words of OPC UA Part 4)."""

    GOOD = "good"
    UNCERTAIN = "uncertain"
    BAD = "bad"


class TimedBy(StrEnum):
    """Whose clock a reading's time comes from."""

    SENSOR = "sensor"
    ARRIVAL = "arrival"


class Reading(NamedTuple):
    """One accepted reading.

    `value` is SI (switches: 0.0 or 1.0), or None if the sensor said that it has none.
    `time` is when it was measured, `received` when it arrived; both `Instant`.
    `retained` marks an MQTT retained message: history, never evidence of life.
    """

    depot: str
    sensor: str
    time: Instant
    value: float | None
    received: Instant
    quality: Quality = Quality.GOOD
    reason: str = ""
    timed_by: TimedBy = TimedBy.SENSOR
    retained: bool = False
    silent_after_seconds: float | None = None
    """What the sensor itself says is the longest until its next reading (SenML `ut`)."""


class Refusal(NamedTuple):
    """One payload that could not be taken for a reading: counted, kept for reading, never used."""

    depot: str
    sensor: str
    received: Instant
    reason: str
    """A short stable code, counted per sensor: `not-a-number`, `too-long`, `wrong-unit`, ..."""
    sentence: str
    """What a tired operator reads: what, where, what was expected."""
    topic: str = ""
    payload: bytes = b""
    """The first bytes of it, as they came."""
