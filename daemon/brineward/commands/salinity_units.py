"""The units in which an answer about strength is given, and how exactly each number is written."""

from dataclasses import dataclass
from math import floor, log10

from brineward.quantities import unit_named
from brineward.quantities.units import Unit

_DEGC, _DEGF = unit_named("degC"), unit_named("degF")
_MS_PER_CM = unit_named("mS/cm")
_LITRE = unit_named("L")
_LB, _KG = unit_named("lb"), unit_named("kg")
_SHORT_TON, _TONNE = unit_named("short ton"), unit_named("t")
_KG_PER_M3 = unit_named("kg/m3")
_TONS_FROM = 0.5
"""Half a ton is told in tons as well."""


@dataclass(frozen=True, slots=True, kw_only=True)
class Units:
    """What to answer in."""

    temperature: Unit = _DEGC
    and_fahrenheit: bool = False
    """Nothing tells what is wanted: degF as well."""
    conductivity: Unit = _MS_PER_CM
    volume: Unit = _LITRE
    mass: Unit = _KG
    density: Unit = _KG_PER_M3

    def given(self, temperature_c: float) -> str:
        """A temperature that was asked about, with the tenth that it may have had."""
        return self._temperature(temperature_c, decimals=1)

    def found(self, temperature_c: float) -> str:
        """A temperature that came out: whole degF, tenths of a degC."""
        return self._temperature(
            temperature_c, decimals=0 if self.temperature is _DEGF else 1, exact=True
        )

    def degrees(self, kelvin: float) -> str:
        """A difference of temperatures in words."""
        number = abs(self.temperature.difference_from_si(kelvin))
        shown = _trimmed(number, 0 if number >= 3.0 else 1)
        return f"{shown} {'degree' if shown == '1' else 'degrees'}"

    def amount(self, volume_m3: float, off_m3: float = 0.0) -> str:
        """A volume, no more exact than its standard uncertainty lets it be."""
        number, off = self.volume.from_si(volume_m3), self.volume.from_si(off_m3)
        return f"{significant(number, off)} {self.volume.name}"

    def stated(self, volume_m3: float) -> str:
        """A volume that was asked about, as it was given."""
        return f"{as_read(self.volume.from_si(volume_m3))} {self.volume.name}"

    def stated_salt(self, mass_kg: float) -> str:
        """A mass of salt that was asked about, as it was given, and in the other units."""
        others = self.salt(mass_kg).partition(" (")[2]
        return f"{as_read(self.mass.from_si(mass_kg))} {self.mass.name} ({others}"

    def salt(self, mass_kg: float, off_kg: float = 0.0) -> str:
        """A mass of salt in pounds, tons and kilograms, the asker's own first."""
        us = self.mass is _LB
        own, ton, other = (_LB, _SHORT_TON, _KG) if us else (_KG, _TONNE, _LB)
        further = [ton, other] if mass_kg >= _TONS_FROM * ton.factor else [other]
        told = [self._mass(mass_kg, off_kg, unit) for unit in (own, *further)]
        return f"{told[0]} ({', '.join(told[1:])})"

    @staticmethod
    def _mass(mass_kg: float, off_kg: float, unit: Unit) -> str:
        number = significant(unit.from_si(mass_kg), unit.from_si(off_kg))
        name = "short tons" if unit is _SHORT_TON and number != "1.00" else unit.name
        return f"{number} {name}"

    def _temperature(self, temperature_c: float, *, decimals: int, exact: bool = False) -> str:
        number = self.temperature.from_si(temperature_c)
        told = (
            f"{round(number, decimals) + 0.0:.{decimals}f}" if exact else _trimmed(number, decimals)
        )
        told += f" {self.temperature.name}"
        if self.and_fahrenheit:
            told += f" ({_trimmed(_DEGF.from_si(temperature_c), 0)} degF)"
        return told


def between(low: float, high: float, off: float, unit: Unit) -> str:
    """An interval of SI values in a unit, its ends to the digit that `off` makes worth telling."""
    step = unit.difference_from_si(off)
    ends = [significant(unit.from_si(value), step) for value in (max(0.0, low), high)]
    return f"between {ends[0]} and {ends[1]} {unit.name}"


def percent(mass_fraction: float) -> str:
    """A strength as percent by mass with one decimal and its sign."""
    return f"{mass_fraction * 100.0 + 0.0:.1f} %"


def strength_between(interval: tuple[float, float]) -> str:
    """An interval of strengths after a colon or a comma, or that it is too narrow to tell."""
    low, high = (f"{end * 100.0:.1f}" for end in interval)
    return "right to a tenth" if low == high else f"between {low} and {high} %"


def significant(number: float, off: float = 0.0) -> str:
    """A number to three digits or decimals, and no finer than the first digit of `off`."""
    size = abs(number)
    finest = max(-3, floor(log10(size)) - 2) if size > 0.0 else 0
    if off > 0.0:
        finest = max(finest, floor(log10(off)))
    return f"{round(number, -finest) + 0.0:,.{max(0, -finest)}f}"


def as_read(number: float) -> str:
    """A reading as it was given, to three decimals."""
    return f"{round(number, 3) + 0.0:,.3f}".rstrip("0").rstrip(".")


def _trimmed(number: float, decimals: int) -> str:
    """Without the tenth where that is 0, and never "-0"."""
    told = f"{round(number, decimals) + 0.0:,.{decimals}f}"
    return told.removesuffix(".0")
