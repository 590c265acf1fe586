"""Quantities as people write them: "172 mS/cm", "1,900 gallons", "41 °F", and back."""

import math
import re

from brineward.quantities.catalogue import EXAMPLES, UnknownUnit, unit_named
from brineward.quantities.units import Unit

ABSOLUTE_ZERO_C = -273.15

_NUMBER = re.compile(
    r"\s*(?P<number>[+-]?(?:\d{1,3}(?:,\d{3})+|\d+)?(?:\.\d*)?(?:[eE][+-]?\d+)?)(?P<rest>.*)",
    re.DOTALL,
)


class UnreadableQuantity(ValueError):
    """A quantity that can't be read; its sentence is for whoever wrote it."""


def parse_number(text: str, *, where: str = "") -> float:
    """The number alone; thousands may be set off by commas. Finite, or refused.

    Raises: UnreadableQuantity.
    """
    number, rest = _split(text, expected="a number such as 1.171", where=where)
    if rest:
        raise _refusal(where, text, f"{rest!r} follows the number", "a number without a unit")
    return number


def parse_quantity(text: object, *, expected: str, where: str = "") -> float:
    """The quantity in SI (degC for temperatures); `expected` is a key of `EXAMPLES`.

    Raises: UnreadableQuantity, naming what was written, where, and what was expected.
    """
    unit, number = _number_and_unit(text, expected, where)
    value = unit.to_si(number)
    if expected == "temperature" and value < ABSOLUTE_ZERO_C:
        raise _refusal(where, text, "is below absolute zero", _wanted(expected))
    return value


def unit_written(text: str, *, expected: str) -> Unit:
    """The unit that a quantity was written in, so that it can be answered in the same.

    Raises: UnreadableQuantity.
    """
    return _number_and_unit(text, expected, "")[0]


def parse_difference(text: object, *, expected: str, where: str = "") -> float:
    """A difference or an uncertainty in SI: "0.5 degF" is 0.278 K, "0.3 degC" is 0.3 K.

    Raises: UnreadableQuantity.
    """
    unit, number = _number_and_unit(text, expected, where)
    return unit.difference_to_si(number)


def format_quantity(value: float, unit: Unit | str, *, decimals: int = 1) -> str:
    """The SI value in a unit, rounded: "1,900 gal", "23.3 %"; never "-0.0".

    Raises: ValueError where the value is not finite; UnknownUnit.
    """
    if not math.isfinite(value):
        raise ValueError(f"{value} is not a quantity that can be written")
    known = unit_named(unit) if isinstance(unit, str) else unit
    number = round(known.from_si(value), decimals) + 0.0
    written = f"{number:,.{decimals}f}"
    return written if known.name == "1" else f"{written} {known.name}"


def _number_and_unit(text: object, expected: str, where: str) -> tuple[Unit, float]:
    if expected not in EXAMPLES:
        raise KeyError(f"{expected!r} is not a quantity: {', '.join(EXAMPLES)}")
    if not isinstance(text, str):
        raise _refusal(where, text, "says no unit", f"{_wanted(expected)}, in quotes")
    number, name = _split(text, expected=_wanted(expected), where=where)
    if not name:
        raise _refusal(where, text, "says no unit", _wanted(expected))
    try:
        unit = unit_named(name)
    except UnknownUnit as unknown:
        raise _refusal(where, text, f"can't be read: {unknown}", _wanted(expected)) from unknown
    if unit.quantity != expected:
        raise _refusal(where, text, f"is {_a(unit.quantity)}", _wanted(expected))
    return unit, number


def _split(text: str, *, expected: str, where: str) -> tuple[float, str]:
    plain = text.replace("−", "-")  # noqa: RUF001 - the minus sign of typeset tables
    match = _NUMBER.match(plain)
    number, rest = (match["number"], match["rest"]) if match else ("", plain)
    if not any(character.isdigit() for character in number):
        raise _refusal(where, text, "does not start with a number", expected)
    if rest[:1] == "," or rest[:1].isdigit():
        why = "has a comma out of place (a point for decimals, commas between thousands)"
        raise _refusal(where, text, why, expected)
    value = float(number.replace(",", ""))
    if not math.isfinite(value):
        raise _refusal(where, text, "is too large to be a quantity", expected)
    return value, rest.strip()


def _refusal(where: str, text: object, why: str, expected: str) -> UnreadableQuantity:
    place = f"{where}: " if where else ""
    return UnreadableQuantity(f"{place}{text!r} {why}; expected {expected}")


def _wanted(quantity: str) -> str:
    return f'{_a(quantity)} such as "{EXAMPLES[quantity]}"'


def _a(quantity: str) -> str:
    return f"a {quantity}"
