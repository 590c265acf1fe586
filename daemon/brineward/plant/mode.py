"""What the depot is being used for now, as its people or its schedule have set it."""

from typing import Any

from brineward.plant.tracker import Tracker, shifted
from brineward.readings.entries import ModeSet
from brineward.readings.instants import Instant
from brineward.readings.modes import Mode


class ModeTracker(Tracker):
    """In service until somebody sets it otherwise."""

    name = "mode"
    version = 2
    lasting = True

    def __init__(self) -> None:
        self.mode = Mode.IN_SERVICE
        self.since: Instant = 0
        """When this mode began; 0 where nobody has ever set one."""
        self.single_batch_since: Instant = 0
        """Since when one batch is wanted and no refill; 0 while refills are."""

    @property
    def single_batch(self) -> bool:
        """Is one batch wanted, and the plant not to refill by itself?"""
        return self.single_batch_since > 0

    def set(self, entry: ModeSet, now: Instant) -> bool:
        """Somebody has set it; is it another mode than before?

        Setting the same mode again continues it, and answers a question about it.
        """
        if entry.single_batch != self.single_batch:
            self.single_batch_since = now if entry.single_batch else 0
        if entry.mode is self.mode and self.since:
            return False
        self.mode, self.since = entry.mode, now
        return True

    def shift(self, by: Instant) -> None:
        """The clock was set: shift what is remembered by `by` milliseconds."""
        self.since = shifted(self.since, by)
        self.single_batch_since = shifted(self.single_batch_since, by)

    def snapshot(self) -> list[Any]:
        """What is remembered, as plain data."""
        return [self.mode, self.since, self.single_batch_since]

    def restore(self, data: list[Any]) -> None:
        """Become what `snapshot` wrote."""
        mode, self.since, self.single_batch_since = data
        self.mode = Mode(mode)
