"""Receipts that come before their text is known to be taken: a gateway may outrun a disk."""

import threading
from typing import Final, NamedTuple

from brineward.clock import Clock

KEPT_SECONDS: Final = 600.0
"""No answer of a gateway and no record of ours is so late (common practice, no source)."""
_MOST: Final = 200


class Early(NamedTuple):
    """What a receipt said."""

    delivered: bool
    words: str
    at: float
    """When it came, on the clock that never steps."""


class EarlyReceipts:
    """Receipts of no text that is known yet, by the name that they give it; for any thread.

    Bounded, and in memory alone: if the service stops meanwhile, the text is sent again anyway.
    """

    def __init__(self, clock: Clock) -> None:
        self._clock = clock
        self._lock = threading.Lock()
        self._kept: dict[str, Early] = {}

    def keep(self, known_as: str, *, delivered: bool, words: str) -> None:
        """A receipt came; of several about one text the last one counts."""
        with self._lock:
            self._kept.pop(known_as, None)
            self._kept[known_as] = Early(delivered, words, self._clock.monotonic_seconds())
            while len(self._kept) > _MOST:
                del self._kept[next(iter(self._kept))]

    def take(self, known_as: str) -> Early | None:
        """The receipt of this name, once; None where none came lately."""
        with self._lock:
            found = self._kept.pop(known_as, None)
        late = found is None or self._clock.monotonic_seconds() - found.at > KEPT_SECONDS
        return None if late else found
