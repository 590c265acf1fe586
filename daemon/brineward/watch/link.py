"""The link to the broker: can readings arrive, and since when?"""

from typing import Any

from brineward.plant.tracker import Tracker
from brineward.readings.entries import LinkChanged
from brineward.readings.instants import Instant


class LinkTracker(Tracker):
    """While it is down, silence means nothing."""

    name = "link"

    def __init__(self) -> None:
        self.up = True
        self.why = ""
        """Why it is down."""
        self.listening_since: Instant = 0
        """Since when readings can arrive: the last start, or the last time the link came up."""

    def changed(self, link: LinkChanged) -> None:
        """It came or went."""
        self.up = link.up
        self.why = "" if link.up else link.why or "the connection was lost"

    def silence(self, heard: Instant, now: Instant) -> Instant | None:
        """How long it has been silent since it last reported; None if that means nothing."""
        since = max(heard, self.listening_since)
        return None if since == 0 or not self.up else now - since

    def deaf(self) -> str:
        """Why silence means nothing now."""
        return "nobody has listened yet" if self.up else "the link is down"

    def snapshot(self) -> list[Any]:
        """What is remembered, as plain data."""
        return [self.up, self.why, self.listening_since]

    def restore(self, data: list[Any]) -> None:
        """Become what `snapshot` wrote."""
        self.up, self.why, self.listening_since = data
