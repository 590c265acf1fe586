"""A batch of points delivered whole; a bad one among them is found by halving and set aside."""

from collections.abc import Callable, Mapping, Sequence
from enum import IntEnum
from typing import Final

from brineward.clock import Clock
from brineward.export.answers import Lost, Refused
from brineward.export.influx import Sender
from brineward.followers.cursor import NotNow

LONGEST_SECONDS: Final = 30.0
"""A delivery that takes longer goes on at the next turn, from where it is."""

MOST_POINTS: Final = 5_000
"""Points in one write."""


class Doubt(IntEnum):
    """Was the server perhaps restarted, so that it lacks what it had accepted?"""

    NONE = 0
    BEFORE = 1
    """Before this delivery: what was delivered earlier may be lost."""
    WITHIN = 2
    """Within it: the same of its own first points."""


class Delivery:
    """Writes batches of points.

    `aside` keeps the points that the server refused, with its words, before the batch counts as
    delivered.
    """

    def __init__(
        self, sender: Sender, aside: Callable[[Mapping[str, str]], None], clock: Clock
    ) -> None:
        self._sender, self._aside, self._clock = sender, aside, clock
        self._of: Sequence[str] = ()
        self._left: list[Sequence[str]] = []
        self._bad: dict[str, str] = {}
        self._doubt, self._written = Doubt.NONE, 0

    def deliver(self, points: Sequence[str]) -> Doubt:
        """Write all of them except those that are set aside; at least once, in order.

        Raises: NotNow: the same call goes on where it stopped; Lost: it begins again; what `aside`
        raises.
        """
        try:
            return self._deliver(points)
        except Lost:
            self.forget()
            raise

    def forget(self) -> None:
        """What was written of the last batch may be lost: begin with whole batches again."""
        self._of, self._left, self._bad = (), [], {}
        self._doubt, self._written = Doubt.NONE, 0

    def _deliver(self, points: Sequence[str]) -> Doubt:
        if self._of != points:
            self.forget()
            self._of = points
            self._left = [
                points[start : start + MOST_POINTS]
                for start in reversed(range(0, len(points), MOST_POINTS))
            ]
        end = self._clock.monotonic_seconds() + LONGEST_SECONDS
        while self._left:
            self._write(self._left[-1])
            if self._left and self._clock.monotonic_seconds() > end:
                raise NotNow("the server takes long to take points one by one")
        if self._bad:
            self._aside(self._bad)
        doubt = self._doubt
        self.forget()
        return doubt

    def _write(self, part: Sequence[str]) -> None:
        try:
            other = self._sender.write(part)
        except Refused as why:
            self._left.pop()
            if len(part) == 1:
                self._bad[part[0]] = str(why) or "too large"
                return
            middle = len(part) // 2
            self._left += [part[middle:], part[:middle]]
        else:
            self._left.pop()
            if other:
                self._doubt = max(self._doubt, Doubt.WITHIN if self._written else Doubt.BEFORE)
            self._written += 1
