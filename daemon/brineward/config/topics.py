"""Which sensors share a topic, and whether their payloads can be distinguished."""

from collections.abc import Iterator, Mapping
from typing import Any, NamedTuple

from brineward.config.mistakes import KeyPath, written_name
from brineward.config.sections import Findings, table_of
from brineward.config.sensor_table import default_topic


class _Listener(NamedTuple):
    """One sensor's claim on a topic, as far as its table can be read."""

    key: KeyPath
    depot: str
    sensor: str
    topic: str
    kind: str
    part: str | None
    """What in the payload is its own; None where all of it is."""


def hold_topics_apart(
    findings: Findings, depots: Mapping[str, object], state_topic: str | None
) -> None:
    """Note every sensor whose readings can't be distinguished from another's, or from the service's
    own."""
    heard: dict[str, list[_Listener]] = {}
    for listener in _listeners(depots):
        if listener.topic == state_topic:
            findings.add(
                (*listener.key, "topic"),
                f"{written_name(listener.topic)} is the service's own state topic",
                "the topic of this sensor alone",
            )
        others = heard.setdefault(listener.topic, [])
        clash = next((other for other in others if _same(listener, other)), None)
        if clash is not None:
            findings.add(
                (*listener.key, "topic"),
                f"{written_name(clash.sensor)} of {written_name(clash.depot)} has it already",
                "a topic of its own, or a JSON value or SenML record of its own on this one",
            )
        others.append(listener)


def _listeners(depots: Mapping[str, object]) -> Iterator[_Listener]:
    for depot, raw in depots.items():
        for sensor, table in table_of(raw, "sensors").items():
            if isinstance(table, dict):
                topic = table.get("topic", default_topic(depot, sensor))
                if isinstance(topic, str):
                    yield _Listener(
                        ("depots", depot, "sensors", sensor),
                        depot,
                        sensor,
                        topic,
                        *_kind_and_part(table.get("payload")),
                    )


def _kind_and_part(payload: Any) -> tuple[str, str | None]:
    if not isinstance(payload, dict):
        return str(payload), None
    kind = str(payload.get("kind"))
    part = payload.get("value", "value") if kind == "json" else payload.get("record")
    return kind, part if isinstance(part, str) else None


def _same(one: _Listener, other: _Listener) -> bool:
    return one.kind != other.kind or one.part is None or other.part in (None, one.part)
