"""What the tables of a report are made of: a page reads them, a spreadsheet adds them up. Pure."""

import math
from collections.abc import Sequence
from dataclasses import dataclass
from datetime import datetime
from typing import Final, NamedTuple

from brineward.quantities.catalogue import POUND_KG, US_GALLON_M3
from brineward.records.balance import Figure as Known

SHORT_TON_KG: Final = 2000 * POUND_KG


class Parts(NamedTuple):
    """Numbers that people read as one: a volume and how sure it is, a strength and its interval."""

    words: str
    numbers: Sequence[float | str]
    """Each for itself, for a spreadsheet; an empty text where it isn't known."""


Single = str | float | datetime
"""A time is of the depot's own clock: each form writes it in its own way."""
Cell = Single | Parts


class Column(NamedTuple):
    """A column of a table."""

    name: str
    parts: Sequence[str] = ()
    """What a spreadsheet calls the numbers of its cells, where each is of several."""


@dataclass(frozen=True, slots=True, kw_only=True)
class Table:
    """Rows under named columns; a number is a number, for those who add up."""

    name: str
    columns: Sequence[Column]
    rows: Sequence[Sequence[Cell]]
    nothing: str = ""
    """What is said where there is no row."""

    def apart(self) -> tuple[list[str], list[list[Single]]]:
        """Names of columns and rows, with each number in a cell of its own."""
        names = [name for column in self.columns for name in column.parts or (column.name,)]
        return names, [
            [one for cell in row for one in (cell.numbers if isinstance(cell, Parts) else (cell,))]
            for row in self.rows
        ]


class Unit(NamedTuple):
    """A unit of the depot's people."""

    name: str
    size: float
    """In SI."""
    decimals: int


def volume_unit(us: bool) -> Unit:
    """Gallons or litres."""
    return Unit("gal", US_GALLON_M3, 0) if us else Unit("L", 0.001, 0)


def mass_unit(us: bool, kg: float = 0.0) -> Unit:
    """Pounds or kilograms; for two tons and more short tons or tonnes."""
    if us:
        large = kg >= 2 * SHORT_TON_KG
        return Unit("tons", SHORT_TON_KG, 2) if large else Unit("lb", POUND_KG, 0)
    return Unit("t", 1000.0, 2) if kg >= 2000.0 else Unit("kg", 1.0, 0)


def give_or_take(known: Known, unit: Unit) -> Parts:
    """An amount with twice its standard uncertainty, which has two figures (JCGM 100:2008, 7.2.6).

    The amount is never rounded further than to whole units, so that lines add up to their total.
    """
    amount = known.amount / unit.size
    doubt = 2 * known.standard_uncertainty / unit.size
    place = 1 - math.floor(math.log10(doubt)) if doubt > 0 else unit.decimals
    digits = min(unit.decimals, max(0, place))
    shown = round(doubt, min(place, unit.decimals))
    give = f" +/- {shown:,.{digits}f}" if doubt > 0 else ""
    words = f"{amount:,.{digits}f}{give} {unit.name}"
    # With one digit more, so that what is added up is not off by its rounding.
    exact = unit.decimals + 1
    return Parts(words, (round(amount, exact), round(doubt, exact)))


def signs(text: str) -> str:
    """The same with the signs that paper has, and a plain text hasn't."""
    return text.replace("+/-", "±").replace("degC", "°C").replace("degF", "°F")
