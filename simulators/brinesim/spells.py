"""Loads and fills as they truly were: from when to when, how much, how strong, how warm."""

from collections.abc import Mapping
from typing import NamedTuple

import numpy as np
from numpy.typing import NDArray

from brinesim.brine import density_from_mass_fraction

Columns = Mapping[str, NDArray[np.float64]]


class Spell(NamedTuple):
    """Something flowed, from when to when (seconds), and what in all."""

    began: float
    ended: float
    volume_m3: float
    salt_kg: float
    """In what flowed, taken as of the main tank's strength."""
    strength: float
    """The main tank's mass fraction, the mean over what flowed."""
    temperature_c: float
    """The main tank's, the mean over what flowed."""
    strength_at_end: float


class Spells:
    """Watches one flow; a pause that is shorter than `joins_seconds` doesn't end a spell."""

    def __init__(self, column: str, *, least_flow: float, joins_seconds: float) -> None:
        """Flows under `least_flow` (m3/s) are none."""
        self._column = column
        self._least = least_flow
        self._joins = joins_seconds
        self._done: list[Spell] = []

    def watch(self, columns: Columns) -> None:
        """Look at one chunk; the next one must begin where it ends."""
        time, flow = columns["time"], columns[self._column]
        flows = np.concatenate([[False], flow > self._least, [False]])
        edges = np.flatnonzero(flows[1:] != flows[:-1])
        for first, after in zip(edges[::2], edges[1::2], strict=True):
            stop = min(after + 1, time.size)
            part = slice(max(0, first - 1), stop)
            self._add(
                _spell({name: column[part] for name, column in columns.items()}, self._column)
            )

    def _add(self, spell: Spell) -> None:
        if self._done and spell.began - self._done[-1].ended < self._joins:
            spell = _joined(self._done.pop(), spell)
        self._done.append(spell)

    @property
    def all(self) -> list[Spell]:
        """Every spell so far, the last one perhaps unfinished."""
        return [spell for spell in self._done if spell.volume_m3 > 0.0]


def _spell(rows: Columns, column: str) -> Spell:
    time, flow, strength = rows["time"], rows[column], rows["main_strength"]
    warm = rows["main_temperature"]
    volume = float(np.trapezoid(flow, time))
    salt_flow = flow * strength * density_from_mass_fraction(strength, warm)
    share = 1.0 / volume if volume > 0 else 0.0
    return Spell(
        began=float(time[0]),
        ended=float(time[-1]),
        volume_m3=volume,
        salt_kg=float(np.trapezoid(salt_flow, time)),
        strength=float(np.trapezoid(flow * strength, time)) * share,
        temperature_c=float(np.trapezoid(flow * warm, time)) * share,
        strength_at_end=float(strength[-1]),
    )


def _joined(one: Spell, other: Spell) -> Spell:
    volume = one.volume_m3 + other.volume_m3
    share = other.volume_m3 / volume if volume > 0 else 0.0
    return Spell(
        began=one.began,
        ended=other.ended,
        volume_m3=volume,
        salt_kg=one.salt_kg + other.salt_kg,
        strength=one.strength + share * (other.strength - one.strength),
        temperature_c=one.temperature_c + share * (other.temperature_c - one.temperature_c),
        strength_at_end=other.strength_at_end,
    )
