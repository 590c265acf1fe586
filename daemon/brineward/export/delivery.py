"""A batch of points delivered whole; a bad one among them is found by halves and set aside."""

from collections.abc import Callable, Mapping, Sequence
from typing import Final

from brineward.clock import Clock
from brineward.export.answers import Refused
from brineward.export.influx import Sender
from brineward.followers.cursor import NotNow

LONGEST_SECONDS: Final = 30.0
"""A delivery that takes longer goes on at the next turn, from where it is."""

MOST_POINTS: Final = 5_000
"""Points in one write."""


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

    def deliver(self, points: Sequence[str]) -> None:
        """Write them all but those that are set aside; at least once, in their order.

        Raises: NotNow: the same call goes on where it stopped; what `aside` raises.
        """
        if self._of != points:
            self._of, self._bad = points, {}
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
        self._of, self._bad = (), {}

    def _write(self, part: Sequence[str]) -> None:
        try:
            self._sender.write(part)
        except Refused as why:
            self._left.pop()
            if len(part) == 1:
                self._bad[part[0]] = str(why) or "too large"
                return
            middle = len(part) // 2
            self._left += [part[middle:], part[:middle]]
        else:
            self._left.pop()
