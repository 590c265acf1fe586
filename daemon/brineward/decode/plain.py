"""Bare payloads: a number or a word and nothing else."""

from math import isfinite

from brineward.decode.limits import PLAIN_BYTES, refuse_longer
from brineward.decode.refusals import UnreadablePayload, quoted
from brineward.decode.sensors import Read, WantedSensor
from brineward.readings.instants import Instant
from brineward.readings.values import Quality, Reading, Refusal, TimedBy


def plain_reader(wanted: WantedSensor) -> Read:
    """A reader of bare numbers and words for one sensor."""
    depot, sensor, conversion = wanted.depot, wanted.sensor, wanted.conversion
    unit, scale, is_switch = conversion.unit, conversion.scale, conversion.is_switch
    factor, offset = unit.factor, unit.offset
    good, arrival = Quality.GOOD, TimedBy.ARRIVAL

    def read(payload: bytes, received: Instant, retained: bool) -> list[Reading | Refusal]:
        # The common case, written out: this line is on every reading's way.
        if not is_switch and len(payload) <= 32 and b"_" not in payload:
            try:
                value = factor * (float(payload) * scale) + offset
            except ValueError:
                pass
            else:
                if isfinite(value):
                    return [
                        Reading(
                            depot, sensor, received, value, received, good, "", arrival, retained
                        )
                    ]
        return [reading_from(payload, received, retained)]

    def reading_from(payload: bytes, received: Instant, retained: bool) -> Reading:
        refuse_longer(payload, PLAIN_BYTES, "a bare number or word")
        try:
            text = payload.decode("utf-8")
        except UnicodeDecodeError:
            raise UnreadablePayload("not-utf-8", f"{quoted(payload)} is not UTF-8 text") from None
        value = conversion.from_text(text)
        return reading_of(
            wanted,
            time=received,
            value=value,
            received=received,
            timed_by=arrival,
            retained=retained,
        )

    return read


def reading_of(
    wanted: WantedSensor,
    *,
    time: Instant,
    value: float | None,
    received: Instant,
    timed_by: TimedBy,
    retained: bool,
    silent_after_seconds: float | None = None,
) -> Reading:
    """A reading of a sensor; bad, with the reason, where the sensor says that it has no value."""
    return Reading(
        wanted.depot,
        wanted.sensor,
        time,
        value,
        received,
        Quality.BAD if value is None else Quality.GOOD,
        "no-value" if value is None else "",
        timed_by,
        retained,
        silent_after_seconds,
    )
