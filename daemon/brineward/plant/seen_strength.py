"""A strength and a temperature as they were seen over a while: their means. Mutable, but pure."""

from typing import Any, NamedTuple

from brineward.plant.strengths import Shown

_COLDEST_C, _WARMEST_C = -20.0, 45.0
UNKNOWN_C = 10.0
"""The temperature assumed for a tank without one (common practice, no source), degC."""


class Seen(NamedTuple):
    """The means; None where nothing was seen. Mass fractions and degC."""

    mass_fraction: float | None
    low: float | None
    high: float | None
    temperature_c: float | None

    @property
    def warmth(self) -> float:
        """The temperature to compute with, within the range of brine's density."""
        found = UNKNOWN_C if self.temperature_c is None else self.temperature_c
        return min(max(found, _COLDEST_C), _WARMEST_C)

    def or_nominal(self, nominal: float) -> float:
        """The strength, or what it should be."""
        return nominal if self.mass_fraction is None else self.mass_fraction


class SeenStrength:
    """Sums over what was seen."""

    def __init__(self) -> None:
        self._sums = [0.0, 0.0, 0.0]
        self._count = 0
        self._warmth = 0.0
        self._warm_count = 0

    def add(self, shown: Shown | None, temperature_c: float | None) -> None:
        """Take what is shown now."""
        if shown is not None:
            for place, value in enumerate((shown.mass_fraction, shown.low, shown.high)):
                self._sums[place] += value
            self._count += 1
        if temperature_c is not None:
            self._warmth += temperature_c
            self._warm_count += 1

    def found(self) -> Seen:
        """The means of it all."""
        warmth = self._warmth / self._warm_count if self._warm_count else None
        if not self._count:
            return Seen(None, None, None, warmth)
        strength, low, high = (one / self._count for one in self._sums)
        return Seen(strength, low, high, warmth)

    def snapshot(self) -> list[Any]:
        """What is remembered, as plain data."""
        return [list(self._sums), self._count, self._warmth, self._warm_count]

    def restore(self, data: list[Any]) -> None:
        """Become what `snapshot` wrote."""
        sums, self._count, self._warmth, self._warm_count = data
        self._sums = list(sums)
