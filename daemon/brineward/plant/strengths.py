"""What a vessel's probe has told of its strength in the last minutes. Mutable, but pure."""

from collections import deque
from operator import itemgetter
from typing import Any, NamedTuple

from brineward.physics.salinity import Salinity
from brineward.readings.instants import MINUTE, SECOND, Instant

KEPT = 10 * MINUTE
FEWEST = 3
"""A median is of no fewer readings than this, where there are so many."""


class Told(NamedTuple):
    """A strength as a reading told it: mass fractions."""

    mass_fraction: float
    standard_uncertainty: float
    low: float
    """The ends of its 95 % interval."""
    high: float


_STRENGTH = itemgetter(0)


class Strengths:
    """The strengths of the last ten minutes, and the one in the middle."""

    __slots__ = ("_middles", "_told")

    def __init__(self) -> None:
        self._told: deque[tuple[Instant, Told]] = deque()
        self._middles: dict[float, Told] = {}
        """What `middle` found, till the next reading: two alarms ask for the same."""

    def add(self, time: Instant, found: Salinity) -> None:
        """Take one strength; times must rise."""
        low, high = found.interval_95
        told = Told(found.mass_fraction, found.standard_uncertainty, low, high)
        self._told.append((time, told))
        self._middles.clear()
        while self._told[0][0] < time - KEPT and len(self._told) > FEWEST:
            self._told.popleft()

    def middle(self, span_seconds: float) -> Told | None:
        """The strength in the middle of those of the last so many seconds, ten minutes at most.

        One wild reading doesn't move it. None where nothing was told.
        """
        if not self._told:
            return None
        found = self._middles.get(span_seconds)
        if found is None:
            since = self._told[-1][0] - span_seconds * SECOND
            latest: list[Told] = []
            for time, told in reversed(self._told):
                if time < since and len(latest) >= FEWEST:
                    break
                latest.append(told)
            latest.sort(key=_STRENGTH)
            found = self._middles[span_seconds] = latest[len(latest) // 2]
        return found

    def forget(self) -> None:
        """The probe was bared: what it told before is of other brine."""
        self._told.clear()
        self._middles.clear()

    def freeze(self) -> list[Any]:
        """What is remembered, as plain data."""
        return [[time, *told] for time, told in self._told]

    def thaw(self, data: list[Any]) -> None:
        """Become what `freeze` wrote."""
        self._middles.clear()
        self._told = deque((time, Told(*told)) for time, *told in data)
