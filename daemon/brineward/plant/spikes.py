"""How often single readings of a sensor are wild, between two that agree. Mutable, but pure."""

from typing import Any

from brineward.plant.plan import Measure, SensorPlan
from brineward.readings.instants import SECOND, Instant

SPIKE_SHARE_OF_RANGE = 0.05
"""A spike is further from both its neighbours than this share of the sensor's range. (Noise whose
own standard deviation is a fiftieth of the range reaches that now and then, and may be named.)"""
NEIGHBOURS_AGREE = 0.25
"""Its neighbours are no further from each other than this share of that: a step is no spike."""
BUBBLE_SHARE = 0.1
"""A bubble on a conductivity probe takes some percent of the reading; less than this is none."""
WINDOW, NAMED, OVER = 200, 6, 1
"""In the time of so many readings: named from six spikes on, no more at one (common practice, no
source)."""
_MOST_JUMPS = 3 * WINDOW  # of a sensor that reports faster than it is declared to
SHARE_OF_JUMPS = 0.6
"""Each spike is two jumps. Where fewer of the jumps than this are spikes' the sensor is noisy."""


class Spikes:
    """The spikes among the last readings of one sensor: it has to be given the jumps alone."""

    def __init__(self, sensor: SensorPlan) -> None:
        self.spiking = False
        self.far = SPIKE_SHARE_OF_RANGE * (sensor.high - sensor.low)
        """From one reading to the next so far is a jump."""
        self._bubbles = BUBBLE_SHARE if sensor.measures is Measure.CONDUCTIVITY else 0.0
        self._window = round(WINDOW * sensor.every_seconds * SECOND)
        self._before = 0.0
        """Where the last jump began."""
        self._jumped: Instant = 0
        """The time of the reading that it led to; 0 where none waits for its way back."""
        self.jumps: list[Instant] = []
        """Of the window."""
        self._spikes: list[Instant] = []
        """Of the window, too."""

    @property
    def count(self) -> int:
        """How many spikes there were in the window."""
        return len(self._spikes)

    def add(
        self, time: Instant, last: float, last_time: Instant, value: float, *, counts: bool = True
    ) -> bool:
        """Take a value and the one before it; times must rise. Does it spike now, or no longer?

        Has to be called for each jump, and for each reading while there are `jumps`. `counts` is
        false where a wild reading may be true: a probe that waves may bare.
        """
        if abs(value - last) > self.far and counts:
            self.jumps = [*self.jumps[-_MOST_JUMPS:], time]
            if self._jumped == last_time and self._is_spike(last, value):
                self._spikes = [*self._spikes[-_MOST_JUMPS:], last_time]
                self._jumped = 0
            else:
                self._before, self._jumped = last, time
        oldest = time - self._window
        if self.jumps and self.jumps[0] < oldest:
            self.jumps = [one for one in self.jumps if one >= oldest]
            self._spikes = [one for one in self._spikes if one >= oldest]
        spikes = len(self._spikes)
        wild = spikes >= NAMED and 2 * spikes >= SHARE_OF_JUMPS * len(self.jumps)
        was = self.spiking
        self.spiking = spikes > OVER if was else wild
        return self.spiking != was

    def _is_spike(self, last: float, value: float) -> bool:
        """Was the last reading one, between the one before it and this?"""
        far = max(self.far, self._bubbles * abs(value))
        there, back = abs(last - self._before), abs(value - last)
        return min(there, back) > far and abs(value - self._before) <= NEIGHBOURS_AGREE * far

    def snapshot(self) -> list[Any]:
        """The spikes as plain data."""
        return [self.spiking, self._before, self._jumped, list(self.jumps), list(self._spikes)]

    def restore(self, data: list[Any]) -> None:
        """Become what `snapshot` wrote."""
        self.spiking, self._before, self._jumped, jumps, spikes = data
        self.jumps, self._spikes = list(jumps), list(spikes)
