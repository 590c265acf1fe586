"""A cursor that stays behind: what a server accepted in its last seconds may be lost with it.

A server answers before its data is on disk. So the stored position is one after which the same
server answered again half a minute later; after a sign that the server was restarted, the follower
goes back there. What is sent twice must count once.
"""

from collections import deque
from collections.abc import Mapping
from typing import Final, Protocol

from brineward.clock import Clock

HELD_BACK_SECONDS: Final = 30.0
"""An answer is trusted once another came so much later from the same server, in s."""
MOST_DOUBTS: Final = 5
"""How often a follower goes back on mere signs before what it had reached must be settled.

A network that breaks every few seconds must not keep it from ever getting on.
"""


class Cursors(Protocol):
    """Where followers are in what they follow, stored."""

    def at(self, name: str) -> int:
        """The seq of a position; 0 for one that was never put."""
        ...

    def put(self, positions: Mapping[str, int]) -> None:
        """Store positions, all or none."""
        ...


class HeldBack:
    """The cursor of one follower.

    Two positions are stored: under the follower's name what is settled, which it begins with; and
    what was answered, for those who ask how far it is.
    """

    def __init__(self, name: str, cursors: Cursors, clock: Clock) -> None:
        self._name, self._cursors, self._clock = name, cursors, clock
        self._settled = self._at = cursors.at(name)
        self._waiting: deque[tuple[float, int]] = deque()
        self._sent = False
        self._mark = self._doubts = 0

    def at(self, name: str) -> int:
        """The last seq that was answered, or settled after it went back. `name` is its own."""
        return self._at

    def advance(self, name: str, seq: int) -> None:
        """Everything up to this seq was answered, or there was nothing in it to send."""
        self._at = seq
        if self._sent:
            self._waiting.append((self._clock.monotonic_seconds(), seq))
        elif self._waiting:
            self._waiting[-1] = (self._waiting[-1][0], seq)
        else:
            self._settled = seq
        self._sent = False
        self._store()

    def answered(self) -> None:
        """The same server as before has accepted a write: what it accepted long before is safe."""
        self._sent = True
        old = self._clock.monotonic_seconds() - HELD_BACK_SECONDS
        while self._waiting and self._waiting[0][0] <= old:
            self._settled = self._waiting.popleft()[1]

    def confirmed(self) -> None:
        """As `answered`, by a write of what had been written before."""
        self.answered()
        self._sent = False
        self._store()

    def is_unsettled(self) -> bool:
        """Has something been answered that is not settled yet?"""
        return bool(self._waiting)

    def may_be_confirmed(self) -> bool:
        """Would an answer now settle all that was answered?"""
        return bool(self._waiting) and (
            self._clock.monotonic_seconds() - self._waiting[-1][0] >= HELD_BACK_SECONDS
        )

    def go_back(self, *, surely: bool) -> bool:
        """The server was restarted, `surely` or perhaps; has the cursor gone back to be sure?"""
        if not surely:
            if self._settled >= self._mark:
                self._mark, self._doubts = max(self._at, self._settled + 1), 0
            self._doubts += 1
            if self._doubts > MOST_DOUBTS:
                return False
        self._waiting.clear()
        self._at, self._sent = self._settled, False
        self._store()
        return True

    def _store(self) -> None:
        self._cursors.put({self._name: self._settled, answered_of(self._name): self._at})


def answered_of(name: str) -> str:
    """The name under which it is stored how far a follower was answered."""
    return f"{name} answered"
