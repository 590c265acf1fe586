"""Entries and outputs as JSON bodies, and back."""

from collections.abc import Callable, Mapping
from dataclasses import fields
from typing import Any, Final

import orjson

from brineward.readings.entries import (
    Act,
    Delivery,
    Entry,
    LinkChanged,
    ServiceTrouble,
    Started,
    Tick,
)
from brineward.readings.outputs import (
    AlarmChanged,
    AlarmState,
    EpisodeChanged,
    Priority,
    TextDue,
)
from brineward.readings.values import Quality, Reading, Refusal, TimedBy

Happening = Act | LinkChanged | Delivery | Started | ServiceTrouble | Tick
"""Entries that are kept as JSON bodies; readings and refusals have tables of their own."""

Concluded = AlarmChanged | TextDue | EpisodeChanged
"""Outputs that are kept as JSON bodies; derived values have a table of their own."""


_Parts = dict[str, Any]


def _object(value: Happening | Concluded) -> str:
    """A flat value as a JSON object, its fields in the order of their declaration."""
    parts = {field.name: getattr(value, field.name) for field in fields(value)}
    plain = {name: dict(p) if isinstance(p, Mapping) else p for name, p in parts.items()}
    return orjson.dumps(plain).decode()


def _reading(parts: _Parts) -> Reading:
    quality, timed_by = Quality(parts.pop("quality")), TimedBy(parts.pop("timed_by"))
    return Reading(**parts, quality=quality, timed_by=timed_by)


def _refusal(parts: _Parts) -> Refusal:
    return Refusal(**parts | {"payload": parts["payload"].encode("latin-1")})


def _alarm_changed(parts: _Parts) -> AlarmChanged:
    return AlarmChanged(
        **parts
        | {
            "before": AlarmState(parts["before"]),
            "state": AlarmState(parts["state"]),
            "priority": Priority(parts["priority"]),
        }
    )


def _text_due(parts: _Parts) -> TextDue:
    return TextDue(**parts | {"priority": Priority(parts["priority"])})


_ENTRY_KINDS: Final[dict[type, str]] = {
    Act: "act",
    LinkChanged: "link",
    Delivery: "delivery",
    Started: "started",
    ServiceTrouble: "trouble",
    Tick: "tick",
    Reading: "reading",
    Refusal: "refusal",
}
_ENTRY_MAKERS: Final[dict[str, Callable[[_Parts], Entry]]] = {
    "act": lambda parts: Act(**parts),
    "link": lambda parts: LinkChanged(**parts),
    "delivery": lambda parts: Delivery(**parts),
    "started": lambda parts: Started(**parts),
    "trouble": lambda parts: ServiceTrouble(**parts),
    "tick": lambda parts: Tick(**parts),
    "reading": _reading,
    "refusal": _refusal,
}
_OUTPUT_KINDS: Final[dict[type, str]] = {
    AlarmChanged: "alarm",
    TextDue: "text",
    EpisodeChanged: "episode",
}
_OUTPUT_MAKERS: Final[dict[str, Callable[[_Parts], Concluded]]] = {
    "alarm": _alarm_changed,
    "text": _text_due,
    "episode": lambda parts: EpisodeChanged(**parts),
}


def entry_kind(entry: Entry) -> str:
    """The short stable word that an entry's kind is stored under."""
    return _ENTRY_KINDS[type(entry)]


def entry_body(entry: Entry) -> str:
    """An entry as a JSON object."""
    if isinstance(entry, Reading):
        return orjson.dumps(entry._asdict()).decode()
    if isinstance(entry, Refusal):
        parts = entry._asdict() | {"payload": entry.payload.decode("latin-1")}
        return orjson.dumps(parts).decode()
    return _object(entry)


def entry_from(kind: str, body: str) -> Entry:
    """The entry that was stored under this kind and body."""
    return _ENTRY_MAKERS[kind](orjson.loads(body))


def output_kind(output: Concluded) -> str:
    """The short stable word that an output's kind is stored under."""
    return _OUTPUT_KINDS[type(output)]


def output_body(output: Concluded) -> str:
    """An output as a JSON object."""
    return _object(output)


def output_from(kind: str, body: str) -> Concluded:
    """The output that was stored under this kind and body."""
    return _OUTPUT_MAKERS[kind](orjson.loads(body))


def output_same(output: Concluded) -> str:
    """What makes two outputs of one kind, depot and time one and the same conclusion."""
    match output:
        case AlarmChanged():
            same = (output.alarm, output.source, output.number, output.before, output.state)
            return "|".join(str(part) for part in same)
        case TextDue():
            return output.id
        case EpisodeChanged():
            return f"{output.episode}|{output.source}|{output.began}|{output.ended}"


PLAIN: Final = (Quality.GOOD, "", TimedBy.SENSOR, False, None)
"""What nearly every reading is: mark 0."""

Mark = tuple[Quality, str, TimedBy, bool, float | None]


def mark_body(mark: Mark) -> str:
    """A reading's quality, reason, whose clock, retained and silent-after as a JSON list."""
    return orjson.dumps(list(mark)).decode()


def mark_from(body: str) -> Mark:
    """The mark that was stored as this list."""
    quality, reason, timed_by, retained, silent_after = orjson.loads(body)
    return Quality(quality), reason, TimedBy(timed_by), retained, silent_after
