"""What a tracker is: something remembered of the plant or the watch, from what it takes."""

from collections.abc import Callable, Mapping, Sequence
from types import MappingProxyType
from typing import Any

from brineward.readings.instants import Instant
from brineward.readings.outputs import Output

Taker = Callable[[Instant, float], Sequence[Output]]
"""Takes one plausible value, SI, in its turn; returns what the plant did by it."""


def shifted(at: Instant, by: Instant) -> Instant:
    """A time `by` milliseconds later, by another clock; one that never was stays 0."""
    return max(1, at + by) if at else 0


class Tracker:
    """Mutable, but pure: a function of what it was given, in the order of times."""

    name: str
    """What its snapshot is called: `level/main`."""
    version = 1
    """Rises when its snapshot changes; an older one is dropped, and the tracker starts again."""
    lasting = False
    """It is kept when the clock is set, and `shift` moves the times that it remembers; or it
    remembers none that setting the clock makes wrong."""
    takes: Mapping[str, Taker] = MappingProxyType({})
    """By sensor: what takes its readings."""

    def shift(self, by: Instant) -> None:
        """The clock was set: shift what is remembered by `by` milliseconds. For `lasting` ones."""

    def snapshot(self) -> Any:
        """What is remembered, as plain data."""
        raise NotImplementedError

    def restore(self, data: Any) -> None:
        """Become what `snapshot` wrote."""
        raise NotImplementedError
