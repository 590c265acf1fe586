"""How often single readings of a sensor are wild, between two that agree. Mutable, but pure."""

from typing import Any

from brineward.plant.plan import Measure, SensorPlan

SPIKE_SHARE_OF_RANGE, SPIKE_DEVIATIONS = 0.05, 8.0
"""A spike is further from both its neighbours than this share of the sensor's range, and than so
many standard deviations of its readings."""
NEIGHBOURS_AGREE = 0.25
"""Its neighbours are no further from each other than this share of that: a step is no spike."""
BUBBLE_SHARE = 0.1
"""A bubble on a conductivity probe takes some percent of the reading; less than this is none."""
WINDOW, NAMED, OVER = 200, 6, 1
"""So many of the last readings: named from six spikes on, over at one (common practice, no
source)."""

_MEMORY = 16  # looks, that is 128 readings
_MOST = 4.0
_DIFFERENCE = 1.128  # mean distance of two normal readings, in deviations: 2 / sqrt(pi)


class Spikes:
    """The spikes among the last readings of one sensor."""

    __slots__ = (
        "_before",
        "_bubbles",
        "_far",
        "_heard",
        "_last",
        "_least",
        "_spikes",
        "_step",
        "spiking",
    )

    def __init__(self, sensor: SensorPlan) -> None:
        self.spiking = False
        self._far = SPIKE_SHARE_OF_RANGE * (sensor.high - sensor.low)
        self._bubbles = BUBBLE_SHARE if sensor.measures is Measure.CONDUCTIVITY else 0.0
        self._least = self._step = _DIFFERENCE * sensor.standard_uncertainty
        """How far a reading is from the one before, in the mean; a jump counts four times that."""
        self._last: float | None = None
        self._before: float | None = None
        """The reading before the last."""
        self._heard = 0
        self._spikes: list[int] = []
        """Of the last readings those that were spikes, by their number."""

    @property
    def count(self) -> int:
        """How many of the last readings were spikes."""
        return len(self._spikes)

    def add(self, value: float, *, counts: bool = True) -> bool:
        """Take one believable value. Does it spike now, or no longer?

        `counts` is false where a wild reading may be true: a probe that waves may bare.
        """
        last, before = self._last, self._before
        self._before, self._last = last, value
        self._heard = heard = self._heard + 1
        if last is None:
            return False
        step = value - last
        if (step > self._far or -step > self._far) and before is not None and counts:
            self._look(before, last, value)
        if not heard & 7:  # every eighth tells the noise well enough
            self._step += (min(abs(step), _MOST * self._step) - self._step) / _MEMORY
            self._step = max(self._step, self._least)
        return bool(self._spikes) and self._told()

    def _look(self, before: float, last: float, value: float) -> None:
        """Was the last reading a spike between the one before it and this?"""
        step = abs(value - last)
        deviations = SPIKE_DEVIATIONS / _DIFFERENCE * self._step
        far = max(self._far, deviations, self._bubbles * abs(value))
        if min(step, abs(last - before)) > far and abs(value - before) <= NEIGHBOURS_AGREE * far:
            self._spikes.append(self._heard - 1)

    def _told(self) -> bool:
        if self._spikes[0] <= self._heard - WINDOW:
            del self._spikes[0]
        bound = OVER if self.spiking else NAMED - 1
        if self.spiking == (len(self._spikes) > bound):
            return False
        self.spiking = not self.spiking
        return True

    def freeze(self) -> list[Any]:
        """The spikes as plain data."""
        return [
            self.spiking,
            self._step,
            self._last,
            self._before,
            self._heard,
            list(self._spikes),
        ]

    def thaw(self, data: list[Any]) -> None:
        """Become what `freeze` wrote."""
        self.spiking, self._step, self._last, self._before, self._heard, spikes = data
        self._spikes = list(spikes)
