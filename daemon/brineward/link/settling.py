"""When a link that comes and goes counts as up: only once it has stayed up. Pure."""

from collections import deque
from typing import Final

LOSSES: Final = 4
WITHIN_SECONDS: Final = 300.0
"""Lost so often in so long, a link is flapping; common practice, no source."""

SETTLED_SECONDS: Final = 120.0
"""A flapping link is up again once it has stayed so long: less than the 300 s after which a lost
link is an alarm, so that one bad minute raises none, and one that never settles does."""


class Settling:
    """Counts the losses of one link; all times are of one clock, in seconds."""

    def __init__(self) -> None:
        self._losses: deque[float] = deque(maxlen=1_000)
        self._since: float | None = None
        self.flapping = False
        """Lost so often that a connection alone means nothing, until one has stayed."""

    def came(self, now: float) -> None:
        """The broker has accepted us."""
        self._since = now

    def lost(self, now: float) -> None:
        """The connection is gone; it counts where the broker had accepted us."""
        if self._since is not None:
            self._losses.append(now)
        self._since = None
        self._forget(now)
        self.flapping = self.flapping or len(self._losses) >= LOSSES

    def settled(self, now: float) -> bool:
        """May the link be called up now?"""
        if self._since is None:
            return False
        if now - self._since >= SETTLED_SECONDS:
            self.flapping = False
        return not self.flapping

    def in_words(self, now: float, client_id: str) -> str:
        """What is wrong, for the person who looks after the broker."""
        span = now - self._losses[0] if self._losses else 0.0
        minutes = max(1, round(span / 60))
        count = len(self._losses)
        return (
            f"the link was lost {'once' if count == 1 else f'{count} times'} in"
            f" {minutes} minute{'s' if minutes > 1 else ''}; another program may use the client id"
            f" {client_id!r}"
        )

    def _forget(self, now: float) -> None:
        while self._losses and now - self._losses[0] > WITHIN_SECONDS:
            self._losses.popleft()
