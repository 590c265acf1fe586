"""When the depot last sent anything that can be believed."""

from typing import Any

from brineward.plant.tracker import Tracker
from brineward.readings.instants import Instant


class Hearing(Tracker):
    """The depot as a whole."""

    name = "hearing"

    def __init__(self) -> None:
        self.last_heard: Instant = 0

    def snapshot(self) -> Any:
        """What is remembered, as plain data."""
        return self.last_heard

    def restore(self, data: Any) -> None:
        """Become what `snapshot` wrote."""
        self.last_heard = int(data)
