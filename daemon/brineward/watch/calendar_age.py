"""When the calendar that says who is on call was last read."""

from typing import Any

from brineward.plant.tracker import Tracker, shifted
from brineward.readings.instants import Instant


class CalendarAge(Tracker):
    """Of one depot's rota calendar."""

    name = "calendar-age"
    lasting = True

    def __init__(self) -> None:
        self.known: Instant = 0
        """When it was last read, or waiting for it began; 0 before that."""

    def waits(self, now: Instant) -> None:
        """Somebody watches from now on: it is to be read."""
        self.known = self.known or now

    def read(self, now: Instant) -> None:
        """It was read."""
        self.known = max(self.known, now)

    def shift(self, by: Instant) -> None:
        """The clock was set: shift what is remembered by `by` milliseconds."""
        self.known = shifted(self.known, by)

    def snapshot(self) -> Any:
        """What is remembered, as plain data."""
        return self.known

    def restore(self, data: Any) -> None:
        """Become what `snapshot` wrote."""
        self.known = int(data)
