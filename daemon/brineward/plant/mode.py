"""What the depot is being used for now, as its people have set it."""

from typing import Any

from brineward.plant.tracker import Tracker
from brineward.readings.entries import ModeSet
from brineward.readings.instants import Instant
from brineward.readings.modes import Mode


class ModeTracker(Tracker):
    """In service until somebody sets it otherwise."""

    name = "mode"
    lasting = True

    def __init__(self) -> None:
        self.mode = Mode.IN_SERVICE
        self.single_batch = False
        """One batch is wanted: the plant is not to refill by itself."""
        self.since: Instant = 0
        """When it was set; 0 where nobody has."""

    def set(self, entry: ModeSet, now: Instant) -> None:
        """Somebody has set it."""
        self.mode, self.single_batch, self.since = entry.mode, entry.single_batch, now

    def snapshot(self) -> list[Any]:
        """What is remembered, as plain data."""
        return [self.mode, self.single_batch, self.since]

    def restore(self, data: list[Any]) -> None:
        """Become what `snapshot` wrote."""
        mode, self.single_batch, self.since = data
        self.mode = Mode(mode)
