"""Numbers as an operator says them: US or metric, no more digits than mean something."""

from collections.abc import Mapping

_FT = 0.3048
_GAL = 231 * 0.0254**3
"""A US gallon in m3, 231 cubic inches by definition."""
_PSI = 0.45359237 * 9.80665 / 0.0254**2
"""A pound-force a square inch in Pa, by the definitions of pound, inch and standard gravity."""


def percent(mass_fraction: float) -> str:
    """A mass fraction as percent with one decimal, without the sign."""
    return f"{mass_fraction * 100:.1f}"


def temperature(celsius: float, us: bool) -> str:
    """A temperature, whole degrees Fahrenheit or tenths of a degree Celsius."""
    return f"{celsius * 1.8 + 32:.0f} F" if us else f"{celsius:.1f} C"


def level(metres: float, us: bool) -> str:
    """A level, in feet with two decimals or in metres with two decimals."""
    return f"{metres / _FT:.2f} ft" if us else f"{metres:.2f} m"


_OTHERS: Mapping[tuple[str, bool], tuple[float, str]] = {
    ("S/m", True): (0.1, ".1f mS/cm"),
    ("S/m", False): (0.1, ".1f mS/cm"),
    ("kg/m3", True): (1.0, ".0f kg/m3"),
    ("kg/m3", False): (1.0, ".0f kg/m3"),
    ("Pa", True): (_PSI, ".1f psi"),
    ("Pa", False): (1000.0, ".1f kPa"),
    ("m3/s", True): (_GAL / 60, ".1f gal/min"),
    ("m3/s", False): (0.001, ".2f L/s"),
    ("A", True): (1.0, ".2f A"),
    ("A", False): (1.0, ".2f A"),
}
"""By SI unit, for US and for other operators: what their unit is in SI, digits and name."""


def measured(value: float, unit: str, us: bool) -> str:
    """What a sensor says in SI, as somebody reads it off beside the sensor."""
    if unit == "m":
        return level(value, us)
    if unit == "degC":
        return temperature(value, us)
    size, written = _OTHERS[unit, us]
    digits, name = written.split(" ")
    return f"{value / size:{digits}} {name}"


def duration(seconds: float) -> str:
    """A length of time in its one fitting unit; rounded down, so nobody counts on more."""
    if seconds < 120:
        return f"{int(seconds)} s"
    if seconds < 120 * 60:
        return f"{int(seconds // 60)} min"
    return f"{int(seconds // 3600)} h"
