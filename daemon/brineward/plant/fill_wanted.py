"""A tank below its fill mark that doesn't rise: since when, and from what level.

Mutable, but pure.
"""

from collections.abc import Sequence
from typing import Any

from brineward.plant.levels import LevelTracker
from brineward.plant.plan import DepotPlan
from brineward.plant.pumps import PumpTracker
from brineward.plant.tracker import Tracker
from brineward.readings.instants import Instant
from brineward.readings.outputs import Output

BELOW_M = 0.10
"""A float opens some centimetres below its mark: this far, it should (common practice,
no source)."""

RISES_M = 0.02
"""A level that has come up by this is being filled."""


class FillWanted(Tracker):
    """One tank that a float fills: how long it has lacked brine without rising."""

    def __init__(self, level: LevelTracker, mark_m: float, pumps: Sequence[PumpTracker]) -> None:
        self.level = level
        self.mark_m = mark_m
        self.name = f"fill-wanted/{level.vessel.id}"
        self.takes = {level.sensor.plan.id: self._take}
        self._pumps = tuple(pumps)
        self._below = mark_m - BELOW_M
        self.since: Instant = 0
        """Since when it is wanted and doesn't come; 0 while it is not wanted, or comes."""
        self._from_m = 0.0

    def _take(self, time: Instant, value: float) -> Sequence[Output]:
        if value >= self._below:
            self.since = 0
            return ()
        for pump in self._pumps:
            if pump.running:
                self.since = 0
                return ()
        if self.since and self._from_m - RISES_M <= value <= self._from_m + RISES_M:
            return ()
        # One wild reading is outvoted by two.
        level = self.level.course.middle(0.0)[0]
        if self.since == 0 or level > self._from_m + RISES_M or level < self._from_m - RISES_M:
            # It begins to be wanted, it comes, or it is still being drawn from.
            self.since, self._from_m = (0 if level >= self._below else time), level
        return ()

    def snapshot(self) -> list[Any]:
        """What is remembered, as plain data."""
        return [self.since, self._from_m]

    def restore(self, data: list[Any]) -> None:
        """Become what `snapshot` wrote."""
        since, from_m = data
        self.since, self._from_m = int(since), float(from_m)


def fills_wanted(
    plan: DepotPlan, levels: dict[str, LevelTracker], pumps: dict[str, PumpTracker]
) -> list[FillWanted]:
    """One for each tank that a float fills and whose level is known."""
    return [
        FillWanted(level, mark, [one for one in pumps.values() if one.pump.draws_from == name])
        for name, level in levels.items()
        if level.vessel.holds_brine
        and (mark := level.vessel.fill_mark_m) is not None
        and any(fill.into == name for fill in plan.fills)
    ]
