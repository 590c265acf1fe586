"""The units that people here write, each under one name with its other spellings.

Factors are exact by definition (NIST Special Publication 811, appendix B.8) except for the last
digits of the pound-force per square inch. Inside, temperature is degC, everything else SI.
A percent here is a hundredth; SenML's own `%` is something else, see `brineward.quantities.senml`.
"""

from dataclasses import dataclass
from difflib import get_close_matches

from brineward.quantities.units import Unit

# The exact factors of NIST SP 811, appendix B: the one place where they are written down.
POUND_KG = 0.45359237
US_GALLON_M3 = 0.003785411784
FOOT_M = 0.3048
INCH_M = 0.0254
STANDARD_GRAVITY_M_PER_S2 = 9.80665
PSI_PA = POUND_KG * STANDARD_GRAVITY_M_PER_S2 / INCH_M**2
HORSEPOWER_W = 550 * FOOT_M * POUND_KG * STANDARD_GRAVITY_M_PER_S2


@dataclass(frozen=True, slots=True, kw_only=True)
class _Entry:
    unit: Unit
    spellings: tuple[str, ...]


def _entry(name: str, quantity: str, factor: float, *spellings: str, offset: float = 0.0) -> _Entry:
    unit = Unit(name=name, quantity=quantity, factor=factor, offset=offset)
    return _Entry(unit=unit, spellings=spellings)


_FAHRENHEIT_ZERO_C = -160 / 9

_ENTRIES = (
    _entry("S/m", "conductivity", 1.0),
    _entry("mS/cm", "conductivity", 0.1, "dS/m", "mS per cm", "millisiemens per centimeter"),
    _entry("uS/cm", "conductivity", 1e-4),
    _entry("mS/m", "conductivity", 1e-3),
    _entry(
        "degC",
        "temperature",
        1.0,
        *("C", "Cel", "deg C", "degree C", "degrees C", "deg. C"),
        *("celsius", "deg celsius", "degree celsius", "degrees celsius", "centigrade"),
    ),
    _entry(
        "degF",
        "temperature",
        5 / 9,
        *("F", "deg F", "degree F", "degrees F", "deg. F"),
        *("fahrenheit", "deg fahrenheit", "degree fahrenheit", "degrees fahrenheit"),
        offset=_FAHRENHEIT_ZERO_C,
    ),
    _entry("K", "temperature", 1.0, "kelvin", offset=-273.15),
    _entry("m", "length", 1.0, "metre", "meter"),
    _entry("cm", "length", 0.01, "centimetre", "centimeter"),
    _entry("mm", "length", 0.001, "millimetre", "millimeter"),
    _entry("ft", "length", FOOT_M, "foot", "feet"),
    _entry("in", "length", INCH_M, "inch", "inches"),
    _entry("m3", "volume", 1.0, "m^3", "cubic metre", "cubic meter"),
    _entry("L", "volume", 1e-3, "l", "litre", "liter"),
    _entry("mL", "volume", 1e-6, "ml", "millilitre", "milliliter"),
    _entry("gal", "volume", US_GALLON_M3, "gallon", "US gal", "US gallon"),
    _entry("ft3", "volume", FOOT_M**3, "ft^3", "cu ft", "cubic foot", "cubic feet"),
    _entry("kg/m3", "density", 1.0, "kg/m^3", "g/L"),
    _entry("g/cm3", "density", 1000.0, "g/cm^3", "g/cc", "g/mL", "kg/L"),
    _entry("lb/gal", "density", POUND_KG / US_GALLON_M3),
    _entry("kg", "mass", 1.0, "kilogram"),
    _entry("t", "mass", 1000.0, "tonne", "metric ton"),
    _entry("lb", "mass", POUND_KG, "lbs", "pound"),
    _entry("short ton", "mass", 2000 * POUND_KG, "US ton"),
    _entry("m3/s", "flow", 1.0, "m^3/s"),
    _entry("m3/h", "flow", 1 / 3600, "m^3/h"),
    _entry("L/s", "flow", 1e-3),
    _entry("L/min", "flow", 1e-3 / 60),
    _entry("gal/min", "flow", US_GALLON_M3 / 60, "gpm"),
    _entry("gal/h", "flow", US_GALLON_M3 / 3600),
    _entry("Pa", "pressure", 1.0, "pascal"),
    _entry("hPa", "pressure", 100.0, "mbar"),
    _entry("kPa", "pressure", 1000.0),
    _entry("bar", "pressure", 1e5),
    _entry("psi", "pressure", PSI_PA),
    _entry("A", "current", 1.0, "ampere", "amp"),
    _entry("mA", "current", 1e-3),
    _entry("W", "power", 1.0, "watt"),
    _entry("kW", "power", 1000.0, "kilowatt"),
    _entry("hp", "power", HORSEPOWER_W, "horsepower"),
    _entry("ms", "duration", 1e-3, "millisecond"),
    _entry("s", "duration", 1.0, "sec", "second"),
    _entry("min", "duration", 60.0, "minute"),
    _entry("h", "duration", 3600.0, "hour", "hr"),
    _entry("d", "duration", 86_400.0, "day"),
    _entry("%", "ratio", 0.01, "/100", "percent", "per cent", "pct"),
    _entry("1", "ratio", 1.0, "ratio", "/"),
)

EXAMPLES = {
    "conductivity": "172 mS/cm",
    "temperature": "9.5 degC",
    "length": "2.40 m",
    "volume": "1,900 gal",
    "density": "1176 kg/m3",
    "mass": "2,000 lb",
    "flow": "0.9 L/s",
    "pressure": "50 kPa",
    "current": "6.5 A",
    "power": "1.5 kW",
    "duration": "10 min",
    "ratio": "23.3 %",
}
"""A way of writing each quantity that is known here, for telling what was expected."""


# Signs that keyboards and typesetters put for the same thing.
_LOOK_ALIKES = (
    ("℃", "°C"),
    ("℉", "°F"),
    ("°", "deg"),
    ("º", "deg"),
    ("˚", "deg"),
    ("µ", "u"),
    ("μ", "u"),
    ("³", "3"),
    ("％", "%"),  # noqa: RUF001 - a wide sign of some keyboards
)


def _tidied(name: str) -> str:
    """One spelling for degree signs, micro signs, superscripts and spaces."""
    for written, plain in _LOOK_ALIKES:
        name = name.replace(written, plain)
    return " ".join(name.split()).replace(" / ", "/")


def _spelled() -> dict[str, Unit]:
    table: dict[str, Unit] = {}
    for entry in _ENTRIES:
        for spelling in (entry.unit.name, *entry.spellings):
            table[spelling] = entry.unit
            if len(spelling) > 2 and spelling.isascii() and spelling[-1].isalpha():
                table.setdefault(spelling + "s", entry.unit)
    return table


_BY_SPELLING = _spelled()
# A single letter must be written as it is: M is not m, S is not s.
_BY_LOWER_CASE = {name.lower(): unit for name, unit in _BY_SPELLING.items() if len(name) > 1}


_LONGEST_SHOWN = 40


class UnknownUnit(ValueError):
    """A unit's name that is not in the catalogue; whoever wrote it must act."""


def unit_named(name: str) -> Unit:
    """The unit of this name or other spelling; upper and lower case matter for one letter only.

    Raises: UnknownUnit, with the nearest spellings.
    """
    tidy = _tidied(name)
    unit = _BY_SPELLING.get(tidy) or _BY_LOWER_CASE.get(tidy.lower())
    if unit is None:
        shown = repr(name if len(name) <= _LONGEST_SHOWN else name[:_LONGEST_SHOWN] + "...")
        near = nearest_names(tidy)
        offer = f"; did you mean {' or '.join(near)}?" if near else ""
        raise UnknownUnit(f"{shown} is not a unit known here{offer}")
    return unit


def spellings() -> tuple[str, ...]:
    """Every spelling of every unit, longest first, for finding quantities in a sentence."""
    return tuple(sorted(_BY_SPELLING, key=lambda spelling: (-len(spelling), spelling)))


def nearest_names(name: str) -> list[str]:
    """Up to three unit names that a misspelt one may have meant, nearest first."""
    lowered = _tidied(name).lower()
    if lowered in ("ton", "tons"):  # 10 % apart: never guessed
        return ["short ton", "t"]
    if len(lowered) > _LONGEST_SHOWN:
        return []
    found = get_close_matches(lowered, list(_BY_LOWER_CASE), n=6, cutoff=0.6)
    return list(dict.fromkeys(_BY_LOWER_CASE[match].name for match in found))[:3]
