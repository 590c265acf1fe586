"""Whether a person can be reached by texts."""

from typing import Any

from brineward.plant.tracker import Tracker
from brineward.readings.entries import Answer, Delivery


class Reach(Tracker):
    """One person on call."""

    lasting = True

    def __init__(self, person: str) -> None:
        self.person = person
        self.name = f"reach/{person}"
        self._failed = ""
        self.opted_out = False
        """By a reply: no text may go to them until they opt in again, whatever a gateway says."""

    @property
    def why_not(self) -> str:
        """Why they can't be reached; empty where they can, as far as is known."""
        return "they texted STOP (START undoes it)" if self.opted_out else self._failed

    def delivered(self, delivery: Delivery) -> None:
        """A text to them was accepted, or given up."""
        self._failed = (delivery.why or "given up") if delivery.outcome == "dead" else ""

    def answered(self, answer: Answer) -> None:
        """They opted out of texts, or in again."""
        if answer.opted:
            self.opted_out = answer.opted == "out"

    def snapshot(self) -> list[Any]:
        """What is remembered, as plain data."""
        return [self._failed, self.opted_out]

    def restore(self, data: list[Any]) -> None:
        """Become what `snapshot` wrote."""
        self._failed, self.opted_out = data
