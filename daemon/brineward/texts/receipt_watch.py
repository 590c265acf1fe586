"""A gateway that takes texts and never delivers one: noticed by the receipts that don't come."""

import threading
from collections.abc import Callable

from brineward.clock import Clock
from brineward.readings.entries import ServiceTrouble

MISSED_IN_A_ROW = 2
"""One text may be lost, a second in a row is the gateway (common practice, no source)."""


class ReceiptWatch:
    """Counts texts without a receipt by channel; may be called from any thread.

    `post` hands an entry to the service; where it raises, so do the calls, and what was to be said
    is said at the next one.
    """

    def __init__(self, clock: Clock, post: Callable[[ServiceTrouble], object]) -> None:
        self._clock, self._post = clock, post
        self._missed: dict[str, int] = {}
        self._posted: str | None = None
        """None: the last run may have left it otherwise, so the first word is said in any case."""
        self._one_at_a_time = threading.Lock()

    def missed(self, channel: str) -> None:
        """A text was taken, and no receipt came in time."""
        with self._one_at_a_time:
            self._missed[channel] = self._missed.get(channel, 0) + 1
            self._say()

    def came(self, channel: str) -> None:
        """A receipt came, whatever it says: the gateway tells what becomes of texts."""
        with self._one_at_a_time:
            self._missed.pop(channel, None)
            self._say()

    def _say(self) -> None:
        found = [
            f"channel {channel} gave no receipt of {MISSED_IN_A_ROW} texts in a row"
            for channel, count in sorted(self._missed.items())
            if count >= MISSED_IN_A_ROW
        ]
        sentence = "; ".join(found)
        if sentence == self._posted:
            return
        self._post(
            ServiceTrouble(
                time=self._clock.now(),
                trouble="receipts-missing",
                present=bool(found),
                sentence=sentence or "Receipts come again.",
            )
        )
        self._posted = sentence
