"""A record as somebody writes it in one line: "load 1200 gal truck 7", "salt 20 tons".

The same words work on the command line, in a text and in a form: the first word says what kind of
record it is, and the rest is read accordingly. Without a unit, the depot's own is taken.
"""

import re
from collections.abc import Callable, Mapping
from dataclasses import dataclass
from functools import cache
from math import isfinite
from typing import Annotated, Final, Literal

from pydantic import Field, TypeAdapter, ValidationError

from brineward.plant.plan import DepotPlan, VesselKind
from brineward.quantities import UnreadableQuantity, parse_quantity
from brineward.quantities.written import COMMA_OUT_OF_PLACE, GROUPED
from brineward.readings.by_hand import (
    BatchJudged,
    BlendSettings,
    ByHand,
    LoadTaken,
    Remark,
    SaltDelivered,
    Upkeep,
    WaterMeterRead,
)

LONGEST: Final = 300
"""Characters of a record."""
SMALLEST_LOAD_M3: Final = 0.2
"""Fewer in a number without its unit is a slip: nobody loads a truck with 50 gal."""
_LARGEST_LOAD_M3: Final = 100.0
_LARGEST_DELIVERY_KG: Final = 200_000.0
_LARGEST_METER_M3: Final = 10_000_000.0
_MOST_MARKS: Final = 12
_AMOUNT: Final = re.compile(
    r"(?P<number>\d[\d,]*(?:\.\d+)?) ?(?P<unit>[a-z][a-z0-9]*(?: ton)?)?(?: (?P<rest>.*))?",
    re.IGNORECASE | re.ASCII,
)
_THOUSANDS: Final = re.compile(rf"{GROUPED}(?:\.\d+)?", re.ASCII)
_MARK: Final = re.compile(
    r"(?P<name>[a-z][a-z0-9-]{0,19}) ?[= ] ?(?P<mark>-?\d{1,4}(?:\.\d{1,3})?)",
    re.IGNORECASE | re.ASCII,
)
_TONS: Final = frozenset({"ton", "tons"})


@cache
def _fields_read() -> TypeAdapter[ByHand]:
    """Made when the first record is read: every command imports this, and hardly one reads any."""
    return TypeAdapter(Annotated[ByHand, Field(discriminator="kind")])


Fault = Literal["number", "size", "marks", "note", "line", "words"]
"""Which piece of a record is wrong, for who has it in fields: no number, one of no such thing, no
marks, nothing said, too long a line; or other words than were expected."""


class RefusedRecord(ValueError):
    """What was written is no record; the text says what was expected."""

    def __init__(self, sentence: str, fault: Fault = "words") -> None:
        super().__init__(sentence)
        self.fault = fault


@dataclass(frozen=True, slots=True, kw_only=True)
class _Asked:
    """The rest of the line, and where it is about."""

    plan: DepotPlan
    words: str


def record_from_words(words: str, plan: DepotPlan) -> ByHand:
    """The record that these words say of this depot. Raises: RefusedRecord."""
    line = " ".join(words.split())
    if not line.isprintable() or len(line) > LONGEST:
        raise RefusedRecord(f"a record is one line of {LONGEST} characters at most", "line")
    first, _, rest = line.partition(" ")
    read = _READERS.get(first.casefold().rstrip(":"))
    if not first:
        raise RefusedRecord(f"nothing is said; expected {EXPECTED}")
    if read is None:
        raise RefusedRecord(f"{first[:30]!r} begins no record; expected {EXPECTED}")
    return read(_Asked(plan=plan, words=rest))


def record_from_fields(fields: Mapping[str, object]) -> ByHand:
    """The record that a program wrote down, with its `kind` and its values in SI.

    Marks of blend valves are fields named `mark.` and the valve. Raises: RefusedRecord.
    """
    marks = {name[5:]: mark for name, mark in fields.items() if name.startswith("mark.")}
    plain = {name: value for name, value in fields.items() if not name.startswith("mark.")}
    if marks:
        plain["marks"] = tuple(sorted(marks.items()))
    try:
        record = _fields_read().validate_python(plain)
    except ValidationError as why:
        first = why.errors()[0]
        where = ".".join(map(str, first["loc"])) or "fields"
        raise RefusedRecord(f"record: {where}: {first['msg'].lower()}") from None
    sizes = [getattr(record, name, 0.0) for name in ("volume_m3", "mass_kg")]
    if not all(0.0 <= size <= _LARGEST_METER_M3 for size in sizes):
        raise RefusedRecord("record: an amount is below nothing, or beyond any depot")
    if isinstance(record, BlendSettings) and not all(isfinite(mark) for _, mark in record.marks):
        raise RefusedRecord("record: a valve's mark is not a number")
    return record


def is_record(words: str) -> bool:
    """Does this begin as a record does?"""
    first = words.split(maxsplit=1)[:1]
    return bool(first) and first[0].casefold().rstrip(":") in _READERS


# -- each kind


def _load(asked: _Asked) -> LoadTaken:
    says = 'a load such as "load 1200 gal truck 7 to Route 9"'
    number, unit, rest = _amount(asked.words, says)
    volume = _quantity(number, unit or _volume_unit(asked.plan), "volume", says)
    if not unit and volume < SMALLEST_LOAD_M3:
        own = f"{number} {_volume_unit(asked.plan)}"
        raise RefusedRecord(
            f"{own} is a small load; write {own!r} with its unit if it is right", "size"
        )
    if not 0 < volume <= _LARGEST_LOAD_M3:
        raise RefusedRecord(f"{number} {unit} is not a load; expected {says}", "size")
    named = _named(rest, says)
    vessel = _vessel(asked.plan, named.pop("from", ""))
    return LoadTaken(
        vessel=vessel,
        volume_m3=volume,
        truck=named.get("truck", ""),
        driver=named.get("driver", ""),
        destination=named.get("to", ""),
    )


def _salt(asked: _Asked) -> SaltDelivered:
    says = 'a delivery such as "salt 20 tons"'
    number, unit, rest = _amount(asked.words, says)
    if rest:
        raise RefusedRecord(f"{rest[:30]!r} is not understood; expected {says}")
    mass = _quantity(number, _mass_unit(unit, asked.plan), "mass", says)
    if not 0 < mass <= _LARGEST_DELIVERY_KG:
        raise RefusedRecord(f"{number} {unit} is no delivery of salt; expected {says}", "size")
    return SaltDelivered(mass_kg=mass)


def _water(asked: _Asked) -> WaterMeterRead:
    says = 'what the meter shows, such as "water 123456 gal"'
    words = re.sub(r"^meter ", "", asked.words, flags=re.IGNORECASE)
    number, unit, rest = _amount(words, says)
    if rest:
        raise RefusedRecord(f"{rest[:30]!r} is not understood; expected {says}")
    volume = _quantity(number, unit or _volume_unit(asked.plan), "volume", says)
    if volume > _LARGEST_METER_M3:
        raise RefusedRecord(f"{number} {unit} is no meter's reading; expected {says}", "size")
    return WaterMeterRead(volume_m3=volume)


def _batch(accepted: bool) -> Callable[[_Asked], BatchJudged]:
    def read(asked: _Asked) -> BatchJudged:
        vessel, note = _vessel_first(asked)
        return BatchJudged(vessel=vessel, accepted=accepted, note=note)

    return read


def _settings(asked: _Asked) -> BlendSettings:
    says = 'marks with their names, such as "settings feed=3.5 bypass=2"'
    vessel, rest = _vessel_first(asked)
    marks: dict[str, float] = {}
    place = 0
    for found in _MARK.finditer(rest):
        if rest[place : found.start()].strip(" ,;"):
            break
        name, place = found["name"].casefold(), found.end()
        if name in marks:
            raise RefusedRecord(f"{name} has two marks; expected {says}", "marks")
        marks[name] = float(found["mark"])
    left = rest[place:].strip(" ,;")
    if left or not marks or len(marks) > _MOST_MARKS:
        raise RefusedRecord(f"{(left or rest)[:30]!r} is not a mark; expected {says}", "marks")
    return BlendSettings(vessel=vessel, marks=tuple(sorted(marks.items())))


def _upkeep(
    kind: Literal["inspection", "cleaning", "calibration"],
) -> Callable[[_Asked], Upkeep]:
    def read(asked: _Asked) -> Upkeep:
        return Upkeep(kind=kind, note=_note(asked.words, f'what it was about: "{kind} hose valve"'))

    return read


def _remark(asked: _Asked) -> Remark:
    return Remark(note=_note(asked.words, 'a remark such as "remark hose replaced"'))


_READERS: Final[Mapping[str, Callable[[_Asked], ByHand]]] = {
    "load": _load,
    "loaded": _load,
    "salt": _salt,
    "water": _water,
    "accepted": _batch(True),
    "accept": _batch(True),
    "rejected": _batch(False),
    "reject": _batch(False),
    "settings": _settings,
    "inspection": _upkeep("inspection"),
    "inspected": _upkeep("inspection"),
    "cleaning": _upkeep("cleaning"),
    "cleaned": _upkeep("cleaning"),
    "calibration": _upkeep("calibration"),
    "calibrated": _upkeep("calibration"),
    "remark": _remark,
    "note": _remark,
}
EXPECTED: Final = (
    "load, salt, water, accepted, rejected, settings, inspection, cleaning, calibration or remark"
)


# -- pieces


def _amount(words: str, says: str) -> tuple[str, str, str]:
    """The number, its unit (perhaps none) and what follows.

    A comma only stands between thousands: read as such anywhere, "7,5 t" would be 75 t.
    """
    found = _AMOUNT.fullmatch(words)
    if found is None:
        wrong = f"{words[:30]!r} begins with no number" if words else "it says no number"
        raise RefusedRecord(f"{wrong}; expected {says}", "number")
    number, unit, rest = found["number"], found["unit"] or "", found["rest"] or ""
    if "," in number and _THOUSANDS.fullmatch(number) is None:
        raise RefusedRecord(f"{number[:30]!r} {COMMA_OUT_OF_PLACE}; expected {says}", "number")
    if unit.casefold() in _FIELDS:  # "load 1200 truck 7": the unit is left out
        unit, rest = "", f"{unit} {rest}".strip()
    return number.replace(",", ""), unit, rest


def _quantity(number: str, unit: str, quantity: str, says: str) -> float:
    try:
        return parse_quantity(f"{number} {unit}", expected=quantity)
    except UnreadableQuantity as why:
        raise RefusedRecord(f"{number} {unit} is no {quantity}; expected {says}", "size") from why


def _volume_unit(plan: DepotPlan) -> str:
    return "gal" if plan.us_units else "L"


def _mass_unit(unit: str, plan: DepotPlan) -> str:
    """Tons are the depot's own: short ones in the US, else tonnes."""
    if not unit or unit.casefold() in _TONS:
        return "short ton" if plan.us_units else "t"
    return unit


_FIELDS: Final = frozenset({"truck", "driver", "to", "from"})


def _named(rest: str, says: str) -> dict[str, str]:
    """What follows each of the words truck, driver, to and from."""
    found: dict[str, list[str]] = {}
    words = rest.split()
    if words and words[0].casefold() not in _FIELDS:
        raise RefusedRecord(f"{words[0][:30]!r} is not understood; expected {says}")
    field = ""
    for word in words:
        if word.casefold() in _FIELDS and word.casefold() not in found:
            field = word.casefold()
            found[field] = []
        else:
            found[field].append(word)
    empty = [name for name, given in found.items() if not given]
    if empty:
        raise RefusedRecord(f"nothing follows {empty[0]!r}; expected {says}")
    return {name: " ".join(given) for name, given in found.items()}


def _vessel(plan: DepotPlan, named: str) -> str:
    """The tank of this name or id; the only one, or the main one, where none is named."""
    tanks = [vessel for vessel in plan.vessels.values() if vessel.holds_brine]
    for vessel in tanks:
        if named and named.casefold() in (vessel.id, plan.name_of(vessel.id).casefold()):
            return vessel.id
    if named or not tanks:
        known = ", ".join(vessel.id for vessel in tanks) or "none"
        raise RefusedRecord(f"{named[:30]!r} is not a tank here; expected one of: {known}")
    main = [vessel for vessel in tanks if vessel.kind is VesselKind.MAIN]
    return (main or tanks)[0].id


def _vessel_first(asked: _Asked) -> tuple[str, str]:
    """A tank where the words begin with one, and the rest."""
    first, _, rest = asked.words.partition(" ")
    vessel = asked.plan.vessels.get(first.casefold().rstrip(":,"))
    if vessel is not None and vessel.holds_brine:
        return vessel.id, rest.strip(" :,")
    return _vessel(asked.plan, ""), asked.words.strip(" :,")


def _note(words: str, says: str) -> str:
    note = words.strip(" :,")
    if not note:
        raise RefusedRecord(f"nothing is given; expected {says}", "note")
    return note
