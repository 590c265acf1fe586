"""What a tracker is: something remembered of the plant, from the readings that it takes."""

from collections.abc import Callable, Mapping, Sequence
from typing import Any, Protocol

from brineward.readings.instants import Instant
from brineward.readings.outputs import Output

Take = Callable[[Instant, float], Sequence[Output]]
"""Takes one believable value, SI, in its turn; returns what the plant did by it."""


class Tracker(Protocol):
    """Mutable, but pure: a function of what it was given, in the order of times."""

    name: str
    """What its snapshot is called: `level/main`."""
    version: int
    """Rises when its snapshot changes; an older one is left, and the tracker starts afresh."""
    lasting: bool
    """Holds nothing that a clock set anew makes wrong: it is kept through that."""

    @property
    def takes(self) -> Mapping[str, Take]:
        """By sensor: what takes its readings."""
        ...

    def snapshot(self) -> Any:
        """What is remembered, as plain data."""
        ...

    def restore(self, data: Any) -> None:
        """Become what `snapshot` wrote."""
        ...
