"""The decoder: takes a topic and its bytes, gives readings and refusals."""

from collections.abc import Iterable, Sequence

from brineward.config.settings import SensorSource
from brineward.decode.firsts import any_reader
from brineward.decode.floods import FloodGate
from brineward.decode.limits import LONGEST_BYTES, refuse_longer
from brineward.decode.objects import object_reader
from brineward.decode.plain import plain_reader
from brineward.decode.refusals import KEPT_BYTES, UnreadablePayload, quoted
from brineward.decode.senml import PackReader
from brineward.decode.sensors import Read, WantedSensor, wanted_sensor
from brineward.readings.instants import Instant
from brineward.readings.values import Reading, Refusal

_Group = tuple[Read, Sequence[WantedSensor]]


class Decoder:
    """Turns payloads into readings by what the config says about each topic."""

    def __init__(self, sources: Iterable[SensorSource], gate: FloodGate | None = None) -> None:
        """Prepare a reader for each topic that a sensor publishes on.

        With a `gate`, what comes too fast on a topic is refused unread.
        """
        by_topic: dict[str, list[SensorSource]] = {}
        for source in sources:
            by_topic.setdefault(source.topic, []).append(source)
        self._gate = gate
        self._sensors = {topic: len(of_topic) for topic, of_topic in by_topic.items()}
        self._groups: dict[str, tuple[_Group, ...]] = {
            topic: self._groups_of(of_topic) for topic, of_topic in by_topic.items()
        }
        self._alone: dict[str, Read] = {
            topic: groups[0][0] for topic, groups in self._groups.items() if len(groups) == 1
        }

    def expect_backlog(self, seconds: float, now: Instant) -> None:
        """Nobody read for this long (from 0): what was sent meanwhile may arrive now, and is no
        flood."""
        if self._gate is not None:
            self._gate.expect_backlog(seconds, now)

    @property
    def topics(self) -> tuple[str, ...]:
        """The topics to subscribe to, in order."""
        return tuple(sorted(self._groups))

    def decode(
        self, topic: str, payload: bytes, received: Instant, retained: bool
    ) -> list[Reading | Refusal]:
        """The readings in one payload, and a refusal for each sensor whose share can't be taken.

        Never raises for what came from outside. Every message leaves a reading or a refusal, but
        for the surplus of a flood: it is counted, and one refusal a minute says how many.
        """
        if self._gate is None:
            return self._decode(topic, payload, received, retained)
        # All topics that nobody has share one count, or their number would be the memory's bound.
        sensors = self._sensors.get(topic, 0)
        shared = topic if sensors else ""
        if self._gate.admits(shared, received, sensors=sensors or 1):
            results = self._decode(topic, payload, received, retained)
            if len(results) > 1:
                self._gate.note_readings(shared, len(results) - 1)
        else:
            results = []
        surplus = self._gate.surplus_due(shared, received)
        return results if surplus is None else results + self._flooded(topic, surplus, received)

    def _decode(
        self, topic: str, payload: bytes, received: Instant, retained: bool
    ) -> list[Reading | Refusal]:
        read = self._alone.get(topic)
        if read is not None and 0 < len(payload) <= LONGEST_BYTES:
            try:
                return read(payload, received, retained)
            except UnreadablePayload as why:
                return self._refuse_all(self._groups[topic][0][1], why, payload, received)
        return self._decode_rest(topic, payload, received, retained)

    def _decode_rest(
        self, topic: str, payload: bytes, received: Instant, retained: bool
    ) -> list[Reading | Refusal]:
        groups = self._groups.get(topic)
        if groups is None:
            sentence = f"nothing is configured on topic {quoted(topic)}; expected a sensor's topic"
            kept = payload[:KEPT_BYTES]
            return [Refusal("", "", received, "unknown-topic", sentence, topic[:KEPT_BYTES], kept)]
        results: list[Reading | Refusal] = []
        for read, sensors in groups:
            try:
                _refuse_by_length(payload)
                results += read(payload, received, retained)
            except UnreadablePayload as why:
                results += self._refuse_all(sensors, why, payload, received)
        return results

    def _groups_of(self, sources: Sequence[SensorSource]) -> tuple[_Group, ...]:
        kinds: dict[str, list[WantedSensor]] = {"json": [], "senml": []}
        groups: list[_Group] = []
        for source in sources:
            wanted = wanted_sensor(source)
            if source.payload.kind == "any":
                groups.append((any_reader(wanted, _refusal), (wanted,)))
            elif source.payload.kind == "number":
                groups.append((plain_reader(wanted), (wanted,)))
            else:
                kinds[source.payload.kind].append(wanted)
        if kinds["json"]:
            groups.append((object_reader(kinds["json"], _refusal), kinds["json"]))
        if kinds["senml"]:
            groups.append((PackReader(kinds["senml"], _refusal).read, kinds["senml"]))
        return tuple(groups)

    def _sensors_on(self, topic: str) -> list[WantedSensor]:
        return [wanted for _, sensors in self._groups.get(topic, ()) for wanted in sensors]

    def _refuse_all(
        self,
        sensors: Iterable[WantedSensor],
        why: UnreadablePayload,
        payload: bytes,
        received: Instant,
    ) -> list[Reading | Refusal]:
        return [_refusal(wanted, why.reason, why.sentence, payload, received) for wanted in sensors]

    def _flooded(self, topic: str, surplus: int, received: Instant) -> list[Reading | Refusal]:
        rate = self._gate.per_second if self._gate is not None else 0
        why = (
            f"{surplus} message{'s' if surplus > 1 else ''} not read, since more than {rate} a"
            " second come; expected fewer: is the sensor set right, or does another publish here?"
        )
        sensors = self._sensors_on(topic)
        if not sensors:
            return [Refusal("", "", received, "too-many", f"topics of no sensor: {why}")]
        return [_refusal(wanted, "too-many", why, b"", received) for wanted in sensors]


def _refusal(
    wanted: WantedSensor, reason: str, why: str, payload: bytes, received: Instant
) -> Refusal:
    sentence = f"{wanted.depot} {wanted.sensor}: {why} (topic {wanted.topic})"
    kept = payload[:KEPT_BYTES]
    return Refusal(wanted.depot, wanted.sensor, received, reason, sentence, wanted.topic, kept)


def _refuse_by_length(payload: bytes) -> None:
    if not payload:
        raise UnreadablePayload("empty", "an empty payload came; expected a reading")
    refuse_longer(payload, LONGEST_BYTES, "any kind of payload")
