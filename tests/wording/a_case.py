"""What a case of `every_alarm` is."""

from typing import NamedTuple

from brineward.alarms.condition import Finding


class Case(NamedTuple):
    """A finding of an alarm."""

    alarm: str
    sort: str
    source: str
    finding: Finding

    @property
    def name(self) -> str:
        """As the golden file and the tests' names have it."""
        return f"{self.alarm}, {self.sort}" if self.sort else self.alarm
