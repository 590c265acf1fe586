"""How many records people have entered by hand: a record's number is its place among them."""

from typing import Any

from brineward.plant.tracker import Tracker


class RecordCount(Tracker):
    """Counts a depot's records, in the order in which the service takes them."""

    name = "record-count"
    lasting = True

    def __init__(self) -> None:
        self.last = 0
        """The number of the last record; 0 before the first."""

    def next(self) -> int:
        """The number of the record that has just come."""
        self.last += 1
        return self.last

    def snapshot(self) -> list[Any]:
        """What is remembered, as plain data."""
        return [self.last]

    def restore(self, data: list[Any]) -> None:
        """Become what `snapshot` wrote."""
        (last,) = data
        self.last = int(last)
