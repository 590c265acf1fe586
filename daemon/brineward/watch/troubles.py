"""Troubles of brineward's own machine: its disk, its records, its channels."""

from typing import Any

from brineward.plant.tracker import Tracker
from brineward.readings.entries import ServiceTrouble


class Troubles(Tracker):
    """Which there are now, a sentence each."""

    name = "troubles"
    lasting = True

    def __init__(self) -> None:
        self._present: dict[str, str] = {}

    def changed(self, trouble: ServiceTrouble) -> None:
        """A trouble came, went, or has a new description."""
        self._present[trouble.trouble] = trouble.sentence if trouble.present else ""

    def sentence(self, trouble: str) -> str:
        """What is known of one; empty where it isn't there."""
        return self._present.get(trouble, "")

    def snapshot(self) -> dict[str, str]:
        """What is remembered, as plain data."""
        return dict(self._present)

    def restore(self, data: Any) -> None:
        """Become what `snapshot` wrote."""
        self._present = dict(data)
