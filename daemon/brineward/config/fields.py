"""Types of value that tables of the config file share: quantities, names, paths, secrets."""

import math
import re
from collections.abc import Callable
from functools import lru_cache
from pathlib import Path
from typing import Annotated, Any
from zoneinfo import available_timezones

from pydantic import AfterValidator, BeforeValidator, ValidationInfo

from brineward.config.mistakes import not_among, shown
from brineward.config.sections import key, known_of, refused
from brineward.plant.idle_hours import IdleHours
from brineward.quantities import UnreadableQuantity, parse_difference, parse_quantity

_LONGEST_QUANTITY = 60
_LONGEST_NAME = 40
_LONGEST_SPOKEN = 30
_BYTES = {"kB": 10**3, "MB": 10**6, "GB": 10**9, "TB": 10**12}
_SIZE = re.compile(r"(?P<number>\d{1,9}(\.\d{1,9})?) ?(?P<unit>[kMGT]B)", re.ASCII)
_FEET_AND_INCHES = re.compile(r"\s*(\d{1,4} ?ft) ?(\d{1,2}(?:\.\d{1,4})? ?in)\s*", re.ASCII)
_NAME = re.compile(r"[a-z0-9]+(-[a-z0-9]+)*", re.ASCII)
_HOURS = re.compile(r"([01]?[0-9]|2[0-3]):([0-5][0-9]) ?- ?([01]?[0-9]|2[0-3]):([0-5][0-9])")
_VARIABLE = re.compile(r"[A-Z_][A-Z0-9_]{0,99}", re.ASCII)
_TIME_OF_DAY = re.compile(r"([01]\d|2[0-3]):[0-5]\d", re.ASCII)
_PHONE = re.compile(r"\+[1-9]\d{6,14}", re.ASCII)


def quantity_in_si(text: object, quantity: str, *, difference: bool = False) -> float:
    """A quantity as the file writes it, in SI; a difference is taken without a zero shift.

    A length may be in feet and inches, "7 ft 10 in", as operators see it.

    Raises: PydanticCustomError, our own, with what is wrong.
    """
    if not isinstance(text, str):
        raise refused(f"{shown(text)} is not text with a unit in it")
    if len(text) > _LONGEST_QUANTITY:
        raise refused(f"{shown(text)} is too long for a quantity")
    parse = parse_difference if difference else parse_quantity
    parts = _FEET_AND_INCHES.fullmatch(text) if quantity == "length" else None
    try:
        value = sum(
            parse(part, expected=quantity) for part in (parts.groups() if parts else [text])
        )
    except UnreadableQuantity as unreadable:
        raise refused(str(unreadable).partition("; expected ")[0]) from unreadable
    if not math.isfinite(value):
        raise refused(f"{shown(text)} is too large to be a quantity")
    return value


def _quantity(
    quantity: str, *, above: float = -math.inf, least: float = -math.inf, most: float = math.inf
) -> BeforeValidator:
    def read(text: object) -> float:
        value = quantity_in_si(text, quantity)
        if value <= above:
            raise refused(f"{shown(text)} is not above {above:g}")
        if value < least:
            raise refused(f"{shown(text)} is too small")
        if value > most:
            raise refused(f"{shown(text)} is too large")
        return value

    return BeforeValidator(read)


def _whole(seconds: float) -> int:
    if seconds != int(seconds):
        raise refused(f"{seconds:g} s is not a whole number of seconds")
    return int(seconds)


Height = Annotated[float, _quantity("length", least=0, most=100)]
"""A height above a floor, from 0 to 100 m."""
Length = Annotated[float, _quantity("length", above=0, most=100)]
"""A side, a diameter or a brim, to 100 m."""
Volume = Annotated[float, _quantity("volume", above=0, most=1e5)]
"""A volume, to 100,000 m3."""
Flow = Annotated[float, _quantity("flow", above=0, most=10)]
"""A flow, to 10 m3/s."""
Power = Annotated[float, _quantity("power", above=0, most=1e6)]
"""A power, to 1 MW."""
Mass = Annotated[float, _quantity("mass", above=0, most=1e6)]
"""A mass, to 1,000 t, in kg."""
Current = Annotated[float, _quantity("current", above=0, most=1e4)]
"""A current, to 10,000 A."""
Duration = Annotated[float, _quantity("duration", above=0, most=10 * 366 * 86_400)]
"""A time of some length, to ten years, in seconds."""
WholeSeconds = Annotated[int, BeforeValidator(_whole), _quantity("duration", above=0, most=1e9)]
"""A time of some whole seconds, as MQTT counts it."""
Delay = Annotated[float, _quantity("duration", least=0, most=366 * 86_400)]
"""A time that may be none, to a year, in seconds."""
MassFraction = Annotated[float, _quantity("ratio", least=0, most=0.4)]
"""A strength: percent by mass, from 0 to 40 %."""


def _size(text: object) -> int:
    match = _SIZE.fullmatch(text) if isinstance(text, str) else None
    if match is None:
        raise refused(f"{shown(text)} is not a size")
    return int(float(match["number"]) * _BYTES[match["unit"]])


Size = Annotated[int, BeforeValidator(_size)]
"""A number of bytes, written "500 MB"."""


def name_mistake(name: str) -> str:
    """What is wrong with the id of a depot, sensor, person and so on; empty where nothing is."""
    if len(name) > _LONGEST_NAME:
        return f"this name has more than {_LONGEST_NAME} characters"
    return "" if _NAME.fullmatch(name) else "this name can't be used"


NAME_EXPECTED = "small letters, digits and single hyphens, such as tern-hollow"


def _id(name: str) -> str:
    mistake = name_mistake(name)
    if mistake:
        raise refused(mistake, NAME_EXPECTED)
    return name


Id = Annotated[str, AfterValidator(_id)]
"""The name of something in the file or on the broker."""


def _line_of_text(text: str) -> str:
    if not text.strip():
        raise refused("is empty")
    if not text.isprintable():
        raise refused(f"{shown(text)} holds a character that can't be printed")
    if len(text) > 200:
        raise refused(f"{shown(text)} is longer than 200 characters")
    return text.strip()


Line = Annotated[str, AfterValidator(_line_of_text)]
"""Text on one line."""


def _short(name: str) -> str:
    if len(name) > _LONGEST_SPOKEN:
        raise refused(f"{shown(name)} is longer than {_LONGEST_SPOKEN} characters")
    return name


SpokenName = Annotated[
    Line,
    AfterValidator(_short),
    key('what people call it, 1 to 30 characters, such as "hose valve"'),
]
"""What people call a part of the depot; texts have it, so it is short."""


def _variable(name: str) -> str:
    # Not quoted: whoever mistakes this key for the secret's own place has written the secret.
    if _VARIABLE.fullmatch(name) is None:
        raise refused("this can't be the name of an environment variable")
    return name


VariableName = Annotated[str, AfterValidator(_variable)]
"""The name of an environment variable: capitals, digits and underscores (POSIX.1-2017, 8.1)."""


def _path(text: object, info: ValidationInfo) -> Path:
    if not isinstance(text, str) or not text.strip():
        raise refused(f"{shown(text)} is not a path")
    if "\0" in text:
        raise refused(f"{shown(text)} holds a character that no path can have")
    return known_of(info).folder / text


FilePath = Annotated[Path, BeforeValidator(_path)]
"""A path; a relative one is taken from the config file's own folder."""


def time_of_day(written: str) -> str:
    """A check that a text is hours and minutes, "08:15"."""
    if _TIME_OF_DAY.fullmatch(written) is None:
        raise refused(f"{shown(written)} is not a time of day")
    return written


def _topic(topic: str) -> str:
    if not topic or not topic.isprintable() or len(topic.encode()) > 1_000:
        raise refused(f"{shown(topic)} is not a topic")
    if "+" in topic or "#" in topic:
        raise refused(f"{shown(topic)} has a wildcard", "the topic of this sensor alone")
    if topic.startswith("$"):
        raise refused(f"{shown(topic)} is a topic of the broker's own")
    return topic


Topic = Annotated[str, AfterValidator(_topic)]
"""An MQTT topic name without wildcards."""


@lru_cache(maxsize=1)
def _zones() -> frozenset[str]:
    return frozenset(available_timezones())


def _zone(name: str) -> str:
    if name not in _zones():
        expected = not_among(name, _zones(), none="") if len(name) < 40 else ""
        near = expected if expected.endswith("perhaps") else ""
        raise refused(f"{shown(name)} is not a time zone known here", near)
    return name


ZoneName = Annotated[str, AfterValidator(_zone)]
"""A name of the IANA time-zone database."""


def is_phone_number(text: str) -> bool:
    """Has it the form of ITU-T E.164, without spaces: +, country, 7 to 15 digits in all?"""
    return _PHONE.fullmatch(text) is not None


def phone_number(text: str) -> str:
    """A phone number without its spaces, ITU-T E.164: +, country, 7 to 15 digits in all.

    Raises: PydanticCustomError, our own, where the text is none.
    """
    bare = re.sub(r"[ ().-]", "", text)
    if not is_phone_number(bare):
        raise refused(
            f"{shown(text)} is not a phone number",
            'plus, country and number, such as "+1 555 0140"',
        )
    return bare


def one_of(names: Callable[[Any], frozenset[str]], what: str, none: str) -> AfterValidator:
    """A check that a name is among those of the file; `what` says what it is not."""

    def check(name: str, info: ValidationInfo) -> str:
        known = names(known_of(info))
        if name not in known:
            raise refused(f"{shown(name)} is not {what}", not_among(name, known, none=none))
        return name

    return AfterValidator(check)


def hours_of_day(written: object) -> IdleHours:
    """Hours of the day, "22:00-05:00". Raises: PydanticCustomError, our own."""
    found = _HOURS.fullmatch(written) if isinstance(written, str) else None
    if found is None:
        raise refused(f"{shown(written)} is not two times of day")
    begin, end = (int(found[n]) * 60 + int(found[n + 1]) for n in (1, 3))
    if begin == end:
        raise refused("the hours end when they begin")
    return IdleHours(begin=begin, end=end)


PersonId = Annotated[
    str,
    one_of(lambda known: known.people, "a person of this file", none="a [people.<name>] table"),
]
"""Who is named somewhere else in the file."""
