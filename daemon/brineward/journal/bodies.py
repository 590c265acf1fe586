"""Entries and outputs as JSON bodies, and back."""

from functools import cache
from typing import Any, Final, Literal

import orjson
from pydantic import TypeAdapter, ValidationError

from brineward.journal.trouble import UnreadableRow
from brineward.readings.entries import (
    AlarmGone,
    Answer,
    ClockStepped,
    Delivery,
    Entry,
    Handling,
    HandRecord,
    HandTest,
    LinkChanged,
    ModeSet,
    RotaRead,
    ServiceTrouble,
    Started,
    StruckTest,
    Take,
    Tick,
)
from brineward.readings.outputs import AlarmChanged, Notice, TextDue
from brineward.readings.values import Quality, Reading, Refusal, TimedBy

ACTS: Final = ("take", "handling", "test", "strike", "answer", "mode", "record")
"""The kinds of what people do."""

_ENTRIES: Final[dict[str, type]] = {
    "take": Take,
    "handling": Handling,
    "test": HandTest,
    "strike": StruckTest,
    "answer": Answer,
    "mode": ModeSet,
    "record": HandRecord,
    "rota": RotaRead,
    "link": LinkChanged,
    "delivery": Delivery,
    "started": Started,
    "gone": AlarmGone,
    "clock": ClockStepped,
    "trouble": ServiceTrouble,
    "tick": Tick,
    "reading": Reading,
    "refusal": Refusal,
}
_OUTPUTS: Final[dict[str, type]] = {"alarm": AlarmChanged, "text": TextDue}
_KINDS: Final = {kind: name for name, kind in (_ENTRIES | _OUTPUTS).items()}


@cache
def _adapter(kind: Any) -> TypeAdapter[Any]:
    """Made when the first body of its kind is read: most commands read few kinds."""
    return TypeAdapter(kind)


Concluded = AlarmChanged | TextDue
"""Outputs that are kept as JSON bodies; derived values and episodes have tables of their own."""


def entry_kind(entry: Entry) -> str:
    """The short stable name that an entry's kind is stored under."""
    return _KINDS[type(entry)]


def entry_body(entry: Entry) -> str:
    """An entry as a JSON object, its fields in the order of their declaration."""
    if isinstance(entry, Refusal):
        parts = entry._asdict() | {"payload": entry.payload.decode("latin-1")}
        return orjson.dumps(parts).decode()
    if isinstance(entry, Reading):
        return orjson.dumps(entry._asdict()).decode()
    return orjson.dumps(entry).decode()


def entry_from(kind: str, body: str) -> Entry:
    """The entry that was stored under this kind and body. Raises: UnreadableRow."""
    if kind not in _ENTRIES:
        raise UnreadableRow(f"no entry is of the kind {kind!r}")
    if kind == "refusal":
        return _refusal(body)
    entry: Entry = _parsed(_adapter(_ENTRIES[kind]), body)
    return entry


def output_kind(output: Concluded) -> Literal["alarm", "text"]:
    """The short stable name that an output's kind is stored under."""
    return "alarm" if isinstance(output, AlarmChanged) else "text"


def output_body(output: Concluded) -> str:
    """An output as a JSON object."""
    return orjson.dumps(output).decode()


def output_from(kind: str, body: str) -> Concluded:
    """The output that was stored under this kind and body. Raises: UnreadableRow."""
    if kind not in _OUTPUTS:
        raise UnreadableRow(f"no output is of the kind {kind!r}")
    output: Concluded = _parsed(_adapter(_OUTPUTS[kind]), body)
    return output


def alarm_from(body: str) -> AlarmChanged:
    """The alarm change of this body. Raises: UnreadableRow."""
    change: AlarmChanged = _parsed(_adapter(AlarmChanged), body)
    return change


def output_same(output: Concluded) -> str:
    """What makes two outputs of one kind, depot and time one and the same conclusion."""
    match output:
        case AlarmChanged():
            same = (output.alarm, output.source, output.number, output.before, output.state)
            return "|".join(str(part) for part in same)
        case TextDue():
            return output.id


def notice_body(notice: Notice) -> str:
    """A notice as a JSON object."""
    return orjson.dumps(notice).decode()


def notice_from(body: str) -> Notice:
    """The notice of this body. Raises: UnreadableRow."""
    notice: Notice = _parsed(_adapter(Notice), body)
    return notice


PLAIN: Final = (Quality.GOOD, "", TimedBy.SENSOR, False, None)
"""What nearly every reading is: mark 0."""

Mark = tuple[Quality, str, TimedBy, bool, float | None]


def mark_body(mark: Mark) -> str:
    """A reading's quality, reason, whose clock, retained and silent-after as a JSON list."""
    return orjson.dumps(list(mark)).decode()


def mark_from(body: str) -> Mark:
    """The mark that was stored as this list. Raises: UnreadableRow."""
    mark: Mark = _parsed(_adapter(Mark), body)
    return mark


def _parsed(adapter: TypeAdapter[Any], body: object) -> Any:
    # A damaged row may hold any of SQLite's types, or bytes that are no text.
    if not isinstance(body, str):
        raise UnreadableRow(f"a body is text, and this one is {type(body).__name__}")
    try:
        return adapter.validate_json(body, strict=True)
    except ValidationError as why:
        first = why.errors(include_url=False)[0]
        where = ".".join(str(part) for part in first["loc"])
        raise UnreadableRow(f"{where or 'the body'}: {first['msg']}") from why


def _refusal(body: object) -> Refusal:
    try:
        parts = orjson.loads(body if isinstance(body, str) else b"")
        return Refusal(**parts | {"payload": parts["payload"].encode("latin-1")})
    except (ValueError, TypeError, KeyError, AttributeError) as why:
        raise UnreadableRow(f"this is not a refusal: {why}") from why
