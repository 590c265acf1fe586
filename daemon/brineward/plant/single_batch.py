"""Where one batch is wanted: is it complete, and does the tank refill all the same?"""

from collections.abc import Sequence
from typing import Any

from brineward.plant.levels import LevelTracker
from brineward.plant.mode import ModeTracker
from brineward.plant.tracker import Tracker
from brineward.readings.instants import Instant
from brineward.readings.outputs import Output

AT_MARK_M = 0.05
"""So close under its fill mark a tank is full: floats differ by some centimetres (common practice,
no source)."""


class SingleBatch(Tracker):
    """One vessel that fills itself by a float while its water is on."""

    def __init__(self, mode: ModeTracker, level: LevelTracker, mark_m: float) -> None:
        self._mode = mode
        self._full_m = mark_m - AT_MARK_M
        self.level = level
        self.name = f"batch/{level.vessel.id}"
        self.takes = {level.sensor.plan.id: self._take}
        self._of: Instant = 0
        """Since when the batch is wanted that it is about."""
        self.complete = False
        self.refills_since: Instant = 0
        """When a fill began after the batch was complete; 0 while there is none."""

    def _take(self, time: Instant, value: float) -> Sequence[Output]:
        mode = self._mode
        if mode.single_batch_since != self._of:
            self._of, self.complete, self.refills_since = mode.single_batch_since, False, 0
        if not self._of:
            return ()
        movement = self.level.movement
        if not self.complete:
            # At its mark it is still being filled: what rises then is the same fill.
            full = (self.level.course.level or 0.0) >= self._full_m
            self.complete = full and movement.direction <= 0
        else:
            self.refills_since = movement.since if movement.direction > 0 else 0
        return ()

    def snapshot(self) -> list[Any]:
        """What is remembered, as plain data."""
        return [self._of, self.complete, self.refills_since]

    def restore(self, data: list[Any]) -> None:
        """Become what `snapshot` wrote."""
        self._of, self.complete, self.refills_since = data


def single_batches(mode: ModeTracker, levels: Sequence[LevelTracker]) -> list[SingleBatch]:
    """One for each vessel with a fill mark and a level."""
    return [
        SingleBatch(mode, level, level.vessel.fill_mark_m)
        for level in levels
        if level.vessel.fill_mark_m is not None
    ]
