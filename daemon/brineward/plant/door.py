"""The shelter's door, by its switch: is it open, and since when."""

from collections.abc import Sequence
from typing import Any

from brineward.plant.sensors import SensorTracker
from brineward.plant.tracker import Tracker
from brineward.readings.instants import Instant
from brineward.readings.outputs import Output


class DoorTracker(Tracker):
    """What the door's switch has shown."""

    name = "door"

    def __init__(self, switch: SensorTracker) -> None:
        self.takes = {switch.plan.id: self._take}
        self.switch = switch
        self._open: bool | None = None
        self._since: Instant | None = None
        """When it was last opened or shut; None where it has been as it was found."""

    def open(self, now: Instant) -> bool | None:
        """Is it open? None while nobody knows."""
        return None if self.switch.believed(now) is None else self._open

    @property
    def since(self) -> Instant | None:
        """When it was last opened or shut; None where that was before the watch."""
        return self._since

    def _take(self, time: Instant, value: float) -> Sequence[Output]:
        if self._open is not bool(value):
            self._since = None if self._open is None else time
            self._open = bool(value)
        return ()

    def snapshot(self) -> list[Any]:
        """What is remembered, as plain data."""
        return [self._open, self._since]

    def restore(self, data: list[Any]) -> None:
        """Become what `snapshot` wrote."""
        self._open, self._since = data
