"""Two sensors of one thing at one place: how far apart they are. Mutable, but pure."""

import math
from collections.abc import Sequence
from itertools import combinations
from typing import Any

from brineward.plant.course import rounded
from brineward.plant.plan import DepotPlan, Measure, SensorPlan
from brineward.plant.sensors import SensorTracker
from brineward.plant.tracker import Tracker
from brineward.readings.instants import SECOND, Instant
from brineward.readings.outputs import Output

MEMORY_SECONDS = 120.0
"""The difference is the mean of about so much: no wave, no door, no two readings out of step."""

SAME_HEIGHT_M = 0.1
"""Probes no further apart than this are in the same brine (common practice, no source)."""

COVERAGE = 3.0
"""Two sound sensors hardly ever differ by this many combined standard uncertainties."""

APART: dict[Measure, float] = {
    Measure.LEVEL: 0.01,
    Measure.SALT_LEVEL: 0.15,
    Measure.CONDUCTIVITY: 0.2,
    Measure.TEMPERATURE: 1.0,
    Measure.DENSITY: 2.0,
    Measure.PRESSURE: 2e3,
    Measure.FLOW: 5e-5,
    Measure.CURRENT: 0.3,
}
"""What two places a hand's breadth apart may truly differ by, SI (common practice, no source)."""

_AT_A_PUMP = frozenset({Measure.CURRENT, Measure.FLOW})
_ELSEWHERE = frozenset(APART) - {Measure.FLOW}

AIR_APART_K = 3.0
"""The same of two thermometers in air: a heater, a draught, the sun."""


class SensorPair(Tracker):
    """Two sensors of the same, the first of which is the one that is judged by."""

    def __init__(self, first: SensorTracker, other: SensorTracker) -> None:
        self.first, self.other = first, other
        self.name = f"pair/{first.plan.id}/{other.plan.id}"
        self.takes = {one.plan.id: self._take for one in (first, other)}
        in_air = first.plan.at in ("shelter", "outdoors")
        apart = AIR_APART_K if in_air else APART[first.plan.measures]
        combined = math.hypot(first.plan.standard_uncertainty, other.plan.standard_uncertainty)
        self.limit = apart + COVERAGE * combined
        """Further apart than this, and one of them is wrong, SI."""
        self.difference: float | None = None
        """Of the other over the first, smoothed, SI; None until both are known."""
        self._last: Instant = 0
        self._began: Instant = 0

    def known(self, now: Instant) -> bool:
        """Are both believed, and have been for as long as the mean takes?"""
        if self.difference is None or now - self._began < MEMORY_SECONDS * SECOND:
            return False
        return self.first.believed(now) is not None and self.other.believed(now) is not None

    def _take(self, time: Instant, value: float) -> Sequence[Output]:
        first, other = self.first.believed(time), self.other.believed(time)
        if first is None or other is None:
            self.difference = None
            return ()
        apart = other - first
        if self.difference is None:
            self.difference, self._began = apart, time
        else:
            share = 1.0 - math.exp(-(time - self._last) / (MEMORY_SECONDS * SECOND))
            self.difference = rounded(self.difference + share * (apart - self.difference))
        self._last = time
        return ()

    def snapshot(self) -> list[Any]:
        """What is remembered, as plain data."""
        return [self.difference, self._last, self._began]

    def restore(self, data: list[Any]) -> None:
        """Become what `snapshot` wrote."""
        self.difference, self._last, self._began = data


def sensor_pairs(plan: DepotPlan, sensors: dict[str, SensorTracker]) -> list[SensorPair]:
    """Each two sensors of the same at the same place; of more than two, each beside the first."""
    found = []
    for first, other in combinations(plan.sensors.values(), 2):
        if _same(plan, first, other) and plan.sensor_of(first.measures, first.at) is first:
            found.append(SensorPair(sensors[first.id], sensors[other.id]))
    return found


def _same(plan: DepotPlan, first: SensorPlan, other: SensorPlan) -> bool:
    """Do they measure one thing? Two pressures of a pump may be before it and after it."""
    if (first.measures, first.at) != (other.measures, other.at):
        return False
    one_thing = _AT_A_PUMP if first.at in plan.pumps else _ELSEWHERE
    return first.measures in one_thing and abs(first.mounted_m - other.mounted_m) <= SAME_HEIGHT_M
