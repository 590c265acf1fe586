"""What a meter in a hose counts of a load. Mutable, but pure."""

import math
from typing import Any

from brineward.readings.instants import SECOND, Instant

RAMP = 6 * SECOND
"""How long after a start a meter may still lag."""


class Metered:
    """The sum of a meter's flow over the runs of a pump."""

    def __init__(self) -> None:
        self._volume = 0.0
        self._upto: Instant = 0
        """Counted up to then; 0 while the pump is stopped."""
        self._flow: float | None = None
        """What it showed last in this run."""
        self._whole = True
        self._readings = 0

    def start(self, time: Instant) -> None:
        """The pump begins to run."""
        self._upto, self._flow = time, None

    def add(self, time: Instant, flow_m3_per_s: float, longest: Instant) -> None:
        """Take a flow; one that comes later than `longest` after the last leaves a gap."""
        if not self._upto:
            return
        gone = time - self._upto
        if gone > longest:
            self._whole = False
        if self._flow is None:
            if gone < RAMP:
                return
            self._flow = flow_m3_per_s
        self._volume += (self._flow + flow_m3_per_s) / 2 * gone / SECOND
        self._upto, self._flow = time, flow_m3_per_s
        self._readings += 1

    def stop(self, time: Instant) -> None:
        """The pump stops."""
        if self._upto and self._flow is not None:
            self._volume += self._flow * (time - self._upto) / SECOND
        elif self._upto:
            self._whole = False
        self._upto = 0

    @property
    def so_far_m3(self) -> float:
        """What was counted up to the last reading."""
        return self._volume

    def volume(self) -> tuple[float, float] | None:
        """The volume, m3, and its standard uncertainty by chance; None where there was a gap.

        How far the meter itself is off is not in it. A start or a stop within the run lies
        anywhere between two readings.
        """
        if not self._whole or self._readings < 2:
            return None
        return self._volume, abs(self._volume) / self._readings / math.sqrt(12.0)

    def snapshot(self) -> list[Any]:
        """What is remembered, as plain data."""
        return [self._volume, self._upto, self._flow, self._whole, self._readings]

    def restore(self, data: list[Any]) -> None:
        """Become what `snapshot` wrote."""
        self._volume, self._upto, self._flow, self._whole, self._readings = data
