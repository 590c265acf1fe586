"""Quantities as people write them, both ways: "172 mS/cm", "1,900 gallons", "41 °F"."""

import math
import re

from brineward.quantities.catalogue import EXAMPLES, UnknownUnit, unit_named
from brineward.quantities.units import Unit

ABSOLUTE_ZERO_C = -273.15

_LONGEST_SHOWN = 60
_CONDUCTANCES = ("mS", "ms", "MS", "uS", "us", "µS", "S")
# The digits of this alphabet alone: float() reads others too, and people take them for ours.
GROUPED = r"[1-9]\d{0,2}(?:,\d{3})+"
"""A whole number whose thousands are set off by commas, as a pattern."""
COMMA_OUT_OF_PLACE = "has a comma out of place (a point for decimals, commas between thousands)"
"""What a number is said to have where a comma is neither."""
_NUMBER = re.compile(
    rf"(?P<number>[+-]?(?:(?:{GROUPED}|\d+)(?:\.\d*)?|\.\d+)(?:e[+-]?\d+)?)(?P<rest>.*)",
    re.DOTALL | re.ASCII | re.IGNORECASE,
)


class UnreadableQuantity(ValueError):
    """A quantity that can't be read; its sentence is for whoever wrote it."""


def parse_number(text: str, *, where: str = "") -> float:
    """The number alone; thousands may be set off by commas. Finite, or refused.

    Raises: UnreadableQuantity.
    """
    number, rest = _split(text, expected="a number such as 1.171", where=where)
    if rest:
        why = f"goes on with {_quoted(rest)} after the number"
        raise _refusal(where, text, why, "a number without a unit")
    return number


def parse_quantity(text: object, *, expected: str, where: str = "") -> float:
    """The quantity in SI (degC for temperatures); `expected` is a key of `EXAMPLES`.

    Raises: UnreadableQuantity, naming what was written, where, and what was expected.
    """
    unit, number = _number_and_unit(text, expected, where)
    value = _finite(unit.to_si(number), text, expected, where)
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
    return _finite(unit.difference_to_si(number), text, expected, where)


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
    if expected == "conductivity" and name in _CONDUCTANCES:
        why = f"says {name}, which is over no length; did you mean {name}/cm?"
        raise _refusal(where, text, why, _wanted(expected))
    try:
        unit = unit_named(name)
    except UnknownUnit as unknown:
        raise _refusal(where, text, f"can't be read: {unknown}", _wanted(expected)) from unknown
    if unit.quantity != expected:
        raise _refusal(where, text, f"is {_a(unit.quantity)}", _wanted(expected))
    return unit, number


def _finite(value: float, text: object, expected: str, where: str) -> float:
    """A finite number can still be too many pounds to be kilograms of a float."""
    if not math.isfinite(value):
        raise _refusal(where, text, "is too large to be a quantity", _wanted(expected))
    return value


def _split(text: str, *, expected: str, where: str) -> tuple[float, str]:
    plain = text.strip().replace("−", "-")  # noqa: RUF001 - the minus sign of typeset tables
    match = _NUMBER.match(plain)
    if match is None:
        raise _refusal(where, text, "does not start with a number", expected)
    number, rest = match["number"], match["rest"]
    if re.match(r"[,0-9]", rest):
        why = COMMA_OUT_OF_PLACE
        raise _refusal(where, text, why, expected)
    value = float(number.replace(",", ""))
    if not math.isfinite(value):
        raise _refusal(where, text, "is too large to be a quantity", expected)
    return value, rest.strip()


def _refusal(where: str, text: object, why: str, expected: str) -> UnreadableQuantity:
    place = f"{where}: " if where else ""
    return UnreadableQuantity(f"{place}{_quoted(text)} {why}; expected {expected}")


def _quoted(text: object) -> str:
    """What was written, in quotes and on one line; no more of it than a person reads."""
    if isinstance(text, str):
        return repr(text if len(text) <= _LONGEST_SHOWN else text[:_LONGEST_SHOWN] + "...")
    shown = repr(text)
    return shown if len(shown) <= _LONGEST_SHOWN else shown[:_LONGEST_SHOWN] + "..."


def _wanted(quantity: str) -> str:
    return f'{_a(quantity)} such as "{EXAMPLES[quantity]}"'


def _a(quantity: str) -> str:
    return f"a {quantity}"
