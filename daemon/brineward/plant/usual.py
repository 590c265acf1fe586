"""What a sensor shows while its pump delivers: learned from the last loads. Mutable, but pure."""

from collections import deque
from typing import Any

from brineward.plant.course import median, rounded
from brineward.plant.tracker import shifted
from brineward.readings.instants import Instant

MOST_RUNS = 8
FEWEST_READINGS = 6
"""A run of fewer readings than this says nothing (common practice, no source)."""


class Usual:
    """The median of the last runs' means: one odd run is not what is usual."""

    def __init__(self) -> None:
        self.value: float | None = None
        """In the sensor's SI unit; None until one run was long enough."""
        self._runs: deque[float] = deque(maxlen=MOST_RUNS)
        self._began: Instant = 0
        self._sum = 0.0
        self._count = 0

    def add(self, began: Instant, value: float) -> None:
        """Take one value of the run that began then; runs must follow one another."""
        if began != self._began:
            if self._count >= FEWEST_READINGS:
                self._runs.append(self._mean)
            self._began, self._sum, self._count = began, 0.0, 0
        self._sum += value
        self._count += 1
        if self._count >= FEWEST_READINGS:
            self.value = median([*self._runs, self._mean])

    def shift(self, by: Instant) -> None:
        """The clock was set: shift what is remembered by `by` milliseconds."""
        self._began = shifted(self._began, by)

    @property
    def _mean(self) -> float:
        return rounded(self._sum / self._count)

    def snapshot(self) -> list[Any]:
        """What is remembered, as plain data."""
        return [self.value, list(self._runs), self._began, self._sum, self._count]

    def restore(self, data: list[Any]) -> None:
        """Become what `snapshot` wrote."""
        self.value, runs, self._began, self._sum, self._count = data
        self._runs = deque(runs, maxlen=MOST_RUNS)
