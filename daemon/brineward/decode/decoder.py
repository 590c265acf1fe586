"""The decoder: a topic and its bytes in, readings and refusals out."""

from collections.abc import Iterable, Sequence
from typing import Final

from brineward.config.settings import SensorSource
from brineward.decode.firsts import any_reader
from brineward.decode.objects import object_reader
from brineward.decode.plain import plain_reader
from brineward.decode.refusals import KEPT_BYTES, RefusalCounts, Refused, quoted
from brineward.decode.senml import PackReader
from brineward.decode.sensors import Read, WantedSensor, wanted_sensor
from brineward.readings.instants import Instant
from brineward.readings.values import Reading, Refusal

PAYLOAD_LIMIT_BYTES: Final = 65_536
"""A longer payload is refused unread."""

_Group = tuple[Read, Sequence[WantedSensor]]


class Decoder:
    """Turns payloads into readings by what the config says of each topic."""

    def __init__(self, sources: Iterable[SensorSource]) -> None:
        """Prepare a reader for each topic that a sensor publishes on."""
        self.refusals = RefusalCounts()
        by_topic: dict[str, list[SensorSource]] = {}
        for source in sources:
            by_topic.setdefault(source.topic, []).append(source)
        self._groups: dict[str, tuple[_Group, ...]] = {
            topic: self._groups_of(of_topic) for topic, of_topic in by_topic.items()
        }
        self._alone: dict[str, Read] = {
            topic: groups[0][0] for topic, groups in self._groups.items() if len(groups) == 1
        }

    @property
    def topics(self) -> tuple[str, ...]:
        """The topics to subscribe to, in order."""
        return tuple(sorted(self._groups))

    def decode(
        self, topic: str, payload: bytes, received: Instant, retained: bool
    ) -> list[Reading | Refusal]:
        """The readings in one payload, and a refusal for each sensor whose part can't be taken.

        Never raises for what came from outside, and never returns an empty list: every message
        leaves a reading or a refusal. Refusals are counted in `refusals`.
        """
        read = self._alone.get(topic)
        if read is not None and 0 < len(payload) <= PAYLOAD_LIMIT_BYTES:
            try:
                return read(payload, received, retained)
            except Refused as why:
                return self._refuse_all(self._groups[topic][0][1], why, payload, received)
        return self._decode_rest(topic, payload, received, retained)

    def _decode_rest(
        self, topic: str, payload: bytes, received: Instant, retained: bool
    ) -> list[Reading | Refusal]:
        groups = self._groups.get(topic)
        if groups is None:
            sentence = f"nothing is configured on topic {quoted(topic)}; expected a sensor's topic"
            unknown = Refusal("", "", received, "unknown-topic", sentence, topic)
            return [self._counted(unknown, payload)]
        results: list[Reading | Refusal] = []
        for read, sensors in groups:
            try:
                _refuse_by_length(payload)
                results += read(payload, received, retained)
            except Refused as why:
                results += self._refuse_all(sensors, why, payload, received)
        return results

    def _groups_of(self, sources: Sequence[SensorSource]) -> tuple[_Group, ...]:
        kinds: dict[str, list[WantedSensor]] = {"json": [], "senml": []}
        groups: list[_Group] = []
        for source in sources:
            wanted = wanted_sensor(source)
            if source.payload.kind == "any":
                groups.append((any_reader(wanted, self._refuse), (wanted,)))
            elif source.payload.kind == "number":
                groups.append((plain_reader(wanted), (wanted,)))
            else:
                kinds[source.payload.kind].append(wanted)
        if kinds["json"]:
            groups.append((object_reader(kinds["json"], self._refuse), kinds["json"]))
        if kinds["senml"]:
            groups.append((PackReader(kinds["senml"], self._refuse).read, kinds["senml"]))
        return tuple(groups)

    def _refuse_all(
        self, sensors: Sequence[WantedSensor], why: Refused, payload: bytes, received: Instant
    ) -> list[Reading | Refusal]:
        return [
            self._refuse(wanted, why.reason, why.sentence, payload, received) for wanted in sensors
        ]

    def _refuse(
        self, wanted: WantedSensor, reason: str, why: str, payload: bytes, received: Instant
    ) -> Refusal:
        sentence = f"{wanted.depot} {wanted.sensor}: {why} (topic {wanted.topic})"
        refusal = Refusal(wanted.depot, wanted.sensor, received, reason, sentence, wanted.topic)
        return self._counted(refusal, payload)

    def _counted(self, refusal: Refusal, payload: bytes) -> Refusal:
        kept = refusal._replace(payload=payload[:KEPT_BYTES])
        self.refusals.count(kept)
        return kept


def _refuse_by_length(payload: bytes) -> None:
    if not payload:
        raise Refused("empty", "an empty payload came; expected a reading")
    if len(payload) > PAYLOAD_LIMIT_BYTES:
        raise Refused(
            "too-long", f"{len(payload)} bytes came; expected at most {PAYLOAD_LIMIT_BYTES}"
        )
