"""Payloads of any of our kinds, distinguished by their first character."""

from dataclasses import replace

from brineward.decode.objects import object_reader
from brineward.decode.plain import plain_reader
from brineward.decode.senml import PackReader
from brineward.decode.sensors import Read, Refuse, WantedSensor
from brineward.readings.instants import Instant
from brineward.readings.values import Reading, Refusal

_OBJECT, _PACK = b"{", b"["


def any_reader(wanted: WantedSensor, refuse: Refuse) -> Read:
    """A reader for one sensor that has its own topic.

    Accepts a bare number or word, a JSON object with `value` and optionally `time`, or a SenML pack
    whose records all have one name.
    """
    plain = plain_reader(wanted)
    one = replace(wanted, value_path=("value",), time_path=("time",), record_name=None)
    by_object = object_reader([one], refuse)
    by_pack = PackReader([one], refuse).read

    def read(payload: bytes, received: Instant, retained: bool) -> list[Reading | Refusal]:
        first = payload[:1]
        if first <= b" ":
            first = payload.lstrip()[:1]
        if first == _OBJECT:
            return by_object(payload, received, retained)
        if first == _PACK:
            return by_pack(payload, received, retained)
        return plain(payload, received, retained)

    return read
