"""Numbers as an operator says them: US or metric, no more digits than mean something."""

import re
from collections.abc import Callable, Mapping
from dataclasses import dataclass
from datetime import tzinfo
from typing import Final

from brineward.quantities.catalogue import FOOT_M, INCH_M, POUND_KG, PSI_PA, US_GALLON_M3
from brineward.readings.instants import Instant, local_from_instant


def percent(mass_fraction: float) -> str:
    """A mass fraction as percent with one decimal, without the sign."""
    return f"{mass_fraction * 100:.1f}"


def temperature(celsius: float, us: bool) -> str:
    """A temperature, whole degrees Fahrenheit or tenths of a degree Celsius."""
    return f"{celsius * 1.8 + 32:z.0f} F" if us else f"{celsius:z.1f} C"


def level(metres: float, us: bool) -> str:
    """A level: feet and whole inches, or metres with two decimals."""
    if not us:
        return f"{metres:z.2f} m"
    inches = round(abs(metres) / INCH_M)
    sign = "-" if metres < 0 and inches else ""
    feet, rest = divmod(inches, 12)
    if not feet:
        return f"{sign}{rest} in"
    return f"{sign}{feet} ft {rest} in" if rest else f"{sign}{feet} ft"


def depth(metres: float, us: bool) -> str:
    """A shallow level, where a whole inch is much: tenths of an inch or of a centimetre."""
    return f"{metres / INCH_M:z.1f} in" if us else f"{metres * 100:z.1f} cm"


_OTHERS: Mapping[tuple[str, bool], tuple[float, str]] = {
    ("S/m", True): (0.1, ".1f mS/cm"),
    ("S/m", False): (0.1, ".1f mS/cm"),
    ("kg/m3", True): (POUND_KG / US_GALLON_M3, ".2f lb/gal"),
    ("kg/m3", False): (1.0, ".0f kg/m3"),
    ("Pa", True): (PSI_PA, ".1f psi"),
    ("Pa", False): (1000.0, ".1f kPa"),
    ("m3/s", True): (US_GALLON_M3 / 60, ".1f gal/min"),
    ("m3/s", False): (0.001, ".2f L/s"),
    ("m3", True): (US_GALLON_M3, ".3g gal"),
    ("m3", False): (0.001, ".3g L"),
    ("kg", True): (POUND_KG, ".0f lb"),
    ("kg", False): (1.0, ".0f kg"),
    ("A", True): (1.0, ".2f A"),
    ("A", False): (1.0, ".2f A"),
    ("K", True): (1 / 1.8, ".3g F"),
    ("K", False): (1.0, ".3g C"),
}
"""By SI unit, for US and for other operators: what their unit is in SI, digits and name."""


def measured(value: float, unit: str, us: bool) -> str:
    """What a sensor measures in SI, as somebody reads it off beside the sensor."""
    if unit == "m":
        return level(value, us)
    if unit == "degC":
        return temperature(value, us)
    if unit == "m3/h":
        return loss_rate(value, us)
    size, written = _OTHERS[unit, us]
    digits, name = written.split(" ")
    return f"{value / size:z{digits}} {name}"


def axis(unit: str, us: bool) -> tuple[float, float, str]:
    """How a picture's axis counts an SI unit: its value is (SI - shift) / size, and what it is
    called. Levels are in feet or metres. Raises: KeyError where the unit is none that we know."""
    if unit == "1":
        return 0.0, 0.01, "%"
    if unit == "m":
        return 0.0, FOOT_M if us else 1.0, "ft" if us else "m"
    if unit == "degC":
        return (-32 / 1.8, 1 / 1.8, "F") if us else (0.0, 1.0, "C")
    size, written = _OTHERS[unit, us]
    return 0.0, size, written.split(" ")[1]


def amount(cubic_metres: float, us: bool) -> str:
    """A volume to two figures, in whole gallons or litres: what was worked out from a level."""
    value = cubic_metres / (US_GALLON_M3 if us else 0.001)
    size = 10.0 ** max(0, len(str(int(value))) - 2)
    return f"{round(value / size) * size:,.0f} {'gal' if us else 'L'}"


def volume(cubic_metres: float, us: bool) -> str:
    """A volume in whole gallons or litres, with a comma in thousands."""
    size, name = (US_GALLON_M3, "gal") if us else (0.001, "L")
    return f"{cubic_metres / size:,.0f} {name}"


def amount_of_salt(kg: float, us: bool) -> str:
    """A mass of salt: whole pounds, short tons from two on; whole kilograms, tonnes from two on."""
    pounds = kg / POUND_KG
    if us:
        return f"{pounds / 2000:,.2f} tons" if abs(pounds) >= 4000 else f"{pounds:,.0f} lb"
    return f"{kg / 1000:,.2f} t" if abs(kg) >= 2000 else f"{kg:,.0f} kg"


def loss_rate(cubic_metres_per_hour: float, us: bool) -> str:
    """How fast brine is lost: tenths of a gallon or litre an hour, whole ones from a hundred on."""
    size, name = (US_GALLON_M3, "gal/h") if us else (0.001, "L/h")
    rate = cubic_metres_per_hour / size
    return f"{rate:,.0f} {name}" if rate >= 100 else f"{rate:.1f} {name}"


def fall(metres: float, us: bool) -> str:
    """How far a level fell: tenths of an inch, or whole millimetres."""
    return f"{metres / INCH_M:.1f} in" if us else f"{metres * 1000:.0f} mm"


_IN_BRACES = re.compile(r"\{(-?[\d.]+) ([^}]+)\}")


def in_units(text: str, us: bool) -> str:
    """A text with its quantities, written as `{3 degC}`, `{0.05 m}` or `{1 K}`, in own units.

    Raises: KeyError where a unit is none of SI's that we know.
    """
    return _IN_BRACES.sub(lambda found: measured(float(found[1]), found[2], us), text)


def rough_volume(m3: float, us: bool) -> str:
    """A volume that is known roughly, to two digits: gallons, or cubic metres."""
    if not us:
        return f"{m3:.2g} m3" if m3 < 10 else f"{m3:.0f} m3"
    gallons = m3 / US_GALLON_M3
    step = max(10 ** (len(str(int(gallons))) - 2), 10)
    return f"{round(gallons / step) * step:,} gal"


def duration(seconds: float) -> str:
    """A length of time in its one fitting unit; rounded down, so nobody counts on more."""
    if seconds < 120:
        return f"{int(seconds)} s"
    if seconds < 120 * 60:
        return f"{int(seconds // 60)} min"
    if seconds < 240 * 3600:
        return f"{int(seconds // 3600)} h"
    return f"{int(seconds // 86_400)} d"


_WEEK_DAYS: Final = 7


@dataclass(frozen=True, slots=True, kw_only=True)
class OperatorUnits:
    """What a depot's people count in, read the clock by, and call things."""

    us: bool
    zone: tzinfo
    name_of: Callable[[str], str]

    def level(self, metres: float) -> str:
        """See `level`."""
        return level(metres, self.us)

    def depth(self, metres: float) -> str:
        """See `depth`."""
        return depth(metres, self.us)

    def volume(self, cubic_metres: float) -> str:
        """See `volume`."""
        return volume(cubic_metres, self.us)

    def fall(self, metres: float) -> str:
        """See `fall`."""
        return fall(metres, self.us)

    def temperature(self, celsius: float) -> str:
        """See `temperature`."""
        return temperature(celsius, self.us)

    def whole_degrees(self, celsius: float) -> str:
        """A temperature that is no reading: 0 degC and such, in whole degrees."""
        return self.temperature(celsius) if self.us else f"{celsius:z.0f} C"

    def measured(self, value: float, unit: str) -> str:
        """A value in SI, a mass fraction ("1") or seconds, as somebody reads it."""
        if unit == "1":
            return f"{percent(value)} %"
        return duration(value) if unit == "s" else measured(value, unit, self.us)

    def amount(self, cubic_metres: float) -> str:
        """See `amount`."""
        return amount(cubic_metres, self.us)

    def amount_of_salt(self, kg: float) -> str:
        """A mass of salt, in kg, as `amount_of_salt` has it."""
        return amount_of_salt(kg, self.us)

    def rough_volume(self, m3: float) -> str:
        """See `rough_volume`."""
        return rough_volume(m3, self.us)

    def in_units(self, text: str) -> str:
        """See `in_units`."""
        return in_units(text, self.us)

    def against(self, value: str, limit: str) -> str:
        """A value beside its limit; where both read the same, it is just at it."""
        if value == limit:
            return f"at the limit, {value}"
        unit = value.rsplit(maxsplit=1)[-1]
        short = limit.removesuffix(f" {unit}")
        return f"{value} (limit {limit if ' ' in short else short})"

    def clock_time(self, instant: Instant, now: Instant) -> str:
        """The depot's wall clock, with the day where it is not today; from a week on, when a day's
        name would mean another, with the date."""
        then, today = (local_from_instant(one, self.zone) for one in (instant, now))
        days = abs((then.date() - today.date()).days)
        if days >= _WEEK_DAYS:
            return f"{then:%b} {then.day} {then:%H:%M}"
        return f"{then:%a %H:%M}" if days else f"{then:%H:%M}"
