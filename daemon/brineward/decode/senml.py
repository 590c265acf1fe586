"""SenML packs in JSON (RFC 8428): base fields resolved, times checked, units converted to SI."""

from collections.abc import Iterator, Mapping, Sequence
from dataclasses import dataclass
from typing import Any, Final

from brineward.decode.conversion import SWITCH_UNITS
from brineward.decode.documents import parse, twice_in_records
from brineward.decode.limits import (
    NAME_CHARACTERS,
    PACK_BYTES,
    PACK_RECORDS,
    PACK_VALUES,
    refuse_longer,
    refuse_more_values,
)
from brineward.decode.plain import reading_of
from brineward.decode.refusals import UnreadablePayload, quoted
from brineward.decode.sensors import Refuse, WantedSensor
from brineward.decode.times import LATEST
from brineward.quantities import UnregisteredUnit, unit_from_senml
from brineward.readings.instants import SECOND, Instant
from brineward.readings.values import Reading, Refusal, TimedBy

VERSION: Final = 10
"""RFC 8428 section 4.4: a pack of a higher version must not be used."""

ABSOLUTE_FROM_SECONDS: Final = 2**28
"""RFC 8428 section 4.5.3: a smaller time is relative to now."""

_LONGEST_UNIT: Final = 40

_TEXTS: Final = ("bn", "bu", "n", "u")
_NUMBERS: Final = ("bt", "bv", "bs", "t", "s", "ut")
_BASE: Final = frozenset({"bn", "bt", "bu", "bv", "bs", "bver"})
_VALUES: Final = ("v", "vs", "vb", "vd")
_KNOWN: Final = frozenset({*_BASE, *_VALUES, "n", "u", "t", "s", "ut"})


@dataclass(frozen=True, slots=True, kw_only=True)
class Record:
    """One record with the pack's base fields applied to it, its value not yet judged."""

    name: str
    unit: str | None
    seconds: float
    base_value: float | None
    base_sum: float | None
    fields: Mapping[str, Any]


@dataclass(slots=True)
class _Alike:
    """Why the first of some records was refused, and how many were."""

    sentence: str
    records: int = 0

    @property
    def in_words(self) -> str:
        return self.sentence + (f" (so {self.records} records)" if self.records > 1 else "")


class PackReader:
    """Reads SenML packs for all sensors of one topic.

    A record that no sensor is named for is passed over; a pack with none for any of the topic's
    sensors is refused for each of them.
    """

    def __init__(self, sensors: Sequence[WantedSensor], refuse: Refuse) -> None:
        self._sensors = sensors
        self._refuse = refuse
        self._unnamed = [wanted for wanted in sensors if wanted.record_name is None]
        self._by_name: dict[str, list[WantedSensor]] = {}
        for wanted in sensors:
            if wanted.record_name is not None:
                self._by_name.setdefault(wanted.record_name, []).append(wanted)

    def read(self, payload: bytes, received: Instant, retained: bool) -> list[Reading | Refusal]:
        """The readings and refusals in one pack, in order of time. Raises: UnreadablePayload.

        If several records of a sensor are refused for the same reason, the first is kept with their
        number.
        """
        records = list(resolved(records_of(payload)))
        names = {record.name for record in records}
        results: list[Reading | Refusal] = []
        refused: dict[tuple[WantedSensor, str], _Alike] = {}
        for record in records:
            for wanted in self._wanting(record, alone=len(names) == 1):
                try:
                    results.append(_reading(wanted, record, received, retained))
                except UnreadablePayload as why:
                    alike = refused.setdefault((wanted, why.reason), _Alike(why.sentence))
                    alike.records += 1
        results += [
            self._refuse(wanted, reason, alike.in_words, payload, received)
            for (wanted, reason), alike in refused.items()
        ]
        if not results:
            results = self._absent(self._sensors, names, payload, received)
        elif self._unnamed and len(names) > 1:
            results += self._absent(self._unnamed, names, payload, received)
        if len(results) > 1:
            results.sort(key=_when)
        return results

    def _wanting(self, record: Record, *, alone: bool) -> list[WantedSensor]:
        named = self._by_name.get(record.name, [])
        return named + self._unnamed if alone else named

    def _absent(
        self, missing: Sequence[WantedSensor], names: set[str], payload: bytes, received: Instant
    ) -> list[Reading | Refusal]:
        there = ", ".join(quoted(name) for name in sorted(names)[:6]) or "none"
        return [
            self._refuse(wanted, "no-such-record", _absence(wanted, there), payload, received)
            for wanted in missing
        ]


def _absence(wanted: WantedSensor, names: str) -> str:
    if wanted.record_name is None:
        return (
            f"the SenML pack's records are named {names}; expected one name, or record_name"
            " in the config to say which"
        )
    return f"no record {quoted(wanted.record_name)} in the SenML pack; its records: {names}"


def _when(result: Reading | Refusal) -> Instant:
    return result.time if isinstance(result, Reading) else result.received


def records_of(payload: bytes) -> list[dict[str, Any]]:
    """The records of a SenML pack. Raises: UnreadablePayload."""
    refuse_longer(payload, PACK_BYTES, "a SenML pack")
    refuse_more_values(payload, PACK_VALUES, "a SenML pack")
    pack = parse(payload)
    if not isinstance(pack, list) or not all(isinstance(record, dict) for record in pack):
        raise UnreadablePayload(
            "not-a-pack", f"{quoted(payload)} came; expected a SenML array of records"
        )
    if len(pack) > PACK_RECORDS:
        raise UnreadablePayload(
            "too-many-values",
            f"more than {PACK_RECORDS} records came; expected no more for a SenML pack",
        )
    # Each key and each text has two quotes: one too many, and a key was dropped as a repeat.
    texts = sum(1 for record in pack for value in record.values() if isinstance(value, str))
    plain = payload.count(b'"') == 2 * (texts + sum(map(len, pack))) and b"\\" not in payload
    label = None if plain else twice_in_records(payload)
    if label is not None:
        raise UnreadablePayload(
            "key-twice", f"the label {quoted(label)} appears twice in a SenML record"
        )
    return pack


def resolved(pack: list[dict[str, Any]]) -> Iterator[Record]:
    """The pack's records with their base fields applied (RFC 8428 section 4.6).

    Raises: UnreadablePayload for the whole pack, since a base field concerns every record after it.
    """
    base: dict[str, Any] = {}
    for record in pack:
        _check_labels(record)
        base.update((label, record[label]) for label in _BASE & record.keys())
        if len(base.get("bn", "")) + len(record.get("n", "")) > NAME_CHARACTERS:
            raise UnreadablePayload(
                "bad-label", f"a SenML name has more than {NAME_CHARACTERS} characters"
            )
        if record.keys() <= _BASE:  # it only sets base fields for those after it
            continue
        yield Record(
            name=base.get("bn", "") + record.get("n", ""),
            unit=record.get("u", base.get("bu")),
            seconds=base.get("bt", 0) + record.get("t", 0),
            base_value=base.get("bv"),
            base_sum=base.get("bs"),
            fields=record,
        )


def _check_labels(record: dict[str, Any]) -> None:
    for label in record.keys() - _KNOWN:
        if label.endswith("_"):
            raise UnreadablePayload(
                "unknown-label",
                f"the SenML label {quoted(label)} must be understood and is not (RFC 8428)",
            )
    for label in _TEXTS:
        if label in record and not isinstance(record[label], str):
            raise UnreadablePayload(
                "bad-label", f"SenML {label} is {quoted(record[label])}; expected text"
            )
    for label in _NUMBERS:
        if label in record and not _is_number(record[label]):
            raise UnreadablePayload(
                "bad-label", f"SenML {label} is {quoted(record[label])}; expected a number"
            )
    version = record.get("bver", VERSION)
    if not _is_number(version) or version < 1:
        raise UnreadablePayload(
            "bad-label", f"SenML bver is {quoted(version)}; expected a number from 1"
        )
    if version > VERSION:
        raise UnreadablePayload(
            "later-version", f"SenML version {quoted(version)} came; expected at most {VERSION}"
        )


def _is_number(found: object) -> bool:
    return isinstance(found, int | float) and not isinstance(found, bool)


def _reading(wanted: WantedSensor, record: Record, received: Instant, retained: bool) -> Reading:
    value = _value(wanted, record)
    time, timed_by = _time(record, received)
    silent_after = record.fields.get("ut")
    if silent_after is not None and silent_after < 0:
        raise UnreadablePayload(
            "bad-label", f"SenML ut is {quoted(silent_after)}; expected seconds from 0"
        )
    return reading_of(
        wanted,
        time=time,
        value=value,
        received=received,
        timed_by=timed_by,
        retained=retained,
        silent_after_seconds=float(silent_after) if silent_after else None,
    )


def _value(wanted: WantedSensor, record: Record) -> float | None:
    conversion = wanted.conversion
    found, base_value = _found_value(record), record.base_value
    if found is None:
        return None
    if isinstance(found, bool) or not isinstance(found, int | float):
        return conversion.from_json(found)
    number = found if base_value is None else found + base_value
    if conversion.is_switch:
        if record.unit not in SWITCH_UNITS:
            raise UnreadablePayload(
                "wrong-unit", f"unit {quoted(record.unit)} came; a switch has none"
            )
        return conversion.from_number(number)
    if record.unit is None:
        return conversion.from_number(number)
    try:
        unit = unit_from_senml(record.unit[:_LONGEST_UNIT])
    except UnregisteredUnit:
        raise UnreadablePayload(
            "wrong-unit",
            f"unit {quoted(record.unit)} is no SenML unit that is known here (RFC 8428, RFC 8798);"
            f" expected one of {conversion.unit.quantity}",
        ) from None
    if unit.quantity != conversion.unit.quantity:
        raise UnreadablePayload(
            "wrong-unit",
            f"unit {quoted(record.unit)} is of {unit.quantity};"
            f" expected one of {conversion.unit.quantity}",
        )
    return conversion.in_unit(number, unit)


def _found_value(record: Record) -> Any:
    """The one value of a record (RFC 8428 section 4.2); a base value alone is a value too."""
    present = [label for label in _VALUES if label in record.fields]
    if len(present) > 1:
        raise UnreadablePayload(
            "two-values", f"the SenML record has {' and '.join(present)}; expected one"
        )
    if present == ["vd"]:
        raise UnreadablePayload(
            "not-a-number", "the SenML record has binary data (vd); expected a value"
        )
    if present:
        return record.fields[present[0]]
    if "s" in record.fields or record.base_sum is not None:
        raise UnreadablePayload(
            "sum", "the SenML record has a sum (s) and no value; expected a value (v)"
        )
    if record.base_value is not None:
        return 0
    raise UnreadablePayload("no-value", "the SenML record has no value; expected v, vb or vs")


def _time(record: Record, received: Instant) -> tuple[Instant, TimedBy]:
    seconds = record.seconds
    if abs(seconds) <= LATEST // SECOND:  # so neither an infinity nor NaN
        shift = round(seconds * SECOND)
        if seconds >= ABSOLUTE_FROM_SECONDS:
            return shift, TimedBy.SENSOR
        # Relative to now: now is when it came, the only now that we have.
        if 0 <= received + shift <= LATEST:
            return received + shift, TimedBy.ARRIVAL
    raise UnreadablePayload(
        "bad-time", f"the SenML time {quoted(seconds)} is not between 1970 and 9999"
    )
