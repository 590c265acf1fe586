"""Numbers as an operator says them: US or metric, no more digits than mean something."""

_FT = 0.3048


def percent(mass_fraction: float) -> str:
    """A mass fraction as percent with one decimal, without the sign."""
    return f"{mass_fraction * 100:.1f}"


def temperature(celsius: float, us: bool) -> str:
    """A temperature, whole degrees Fahrenheit or tenths of a degree Celsius."""
    return f"{celsius * 1.8 + 32:.0f} F" if us else f"{celsius:.1f} C"


def level(metres: float, us: bool) -> str:
    """A level, in feet with two decimals or in metres with two decimals."""
    return f"{metres / _FT:.2f} ft" if us else f"{metres:.2f} m"


def duration(seconds: float) -> str:
    """A length of time in its one fitting unit; rounded down, so nobody counts on more."""
    if seconds < 120:
        return f"{int(seconds)} s"
    if seconds < 120 * 60:
        return f"{int(seconds // 60)} min"
    return f"{int(seconds // 3600)} h"
