"""The work of a follower with a cursor: each entry is passed on before the cursor moves."""

from collections.abc import Callable, Sequence
from typing import Generic, Protocol, TypeVar

from brineward.clock import Clock, jittered
from brineward.followers.backoff import doubled_wait_seconds

FIRST_WAIT_SECONDS = 5.0
LONGEST_WAIT_SECONDS = 300.0
"""The wait after a failure doubles from the first to the longest, jittered."""
LONGEST_SLEEP_SECONDS = 5.0
"""The journal is looked at this often at least, should nobody wake the follower."""
BATCH = 500

T = TypeVar("T")


class NotNow(Exception):
    """The other side could not take it, or nobody knows whether it did: pass it on again.

    `wait_seconds` is what the other side asked for; 0 if it asked for nothing.
    """

    def __init__(self, why: str, wait_seconds: float = 0.0) -> None:
        super().__init__(why)
        self.wait_seconds = wait_seconds


class Again(Exception):
    """The cursor was put back: continue from there at once."""


class Cursors(Protocol):
    """Where followers are in what they follow."""

    def at(self, name: str) -> int:
        """The last seq that this follower has dealt with; 0 for a new one."""
        ...

    def advance(self, name: str, seq: int) -> None:
        """It has dealt with everything up to this seq."""
        ...


class CursorWork(Generic[T]):
    """Passes on what comes after the cursor, in batches; at least once, never out of order.

    `after` gives the next entries after a seq, at most this many, with their seqs and in order.
    `deliver` raises NotNow if the batch must be passed on again, Again if the cursor has gone back,
    and ends in bounded time. `on_delay` gets a sentence at the first failure in a row, and again
    when the reason changes.
    """

    def __init__(
        self,
        name: str,
        cursors: Cursors,
        after: Callable[[int, int], Sequence[tuple[int, T]]],
        deliver: Callable[[Sequence[T]], None],
        clock: Clock,
        *,
        on_delay: Callable[[str], None],
        on_close: Callable[[], None],
        jitter: Callable[[float], float] = jittered,
        batch: int | None = None,
    ) -> None:
        self._name = name
        self._cursors = cursors
        self._after = after
        self._deliver = deliver
        self._clock = clock
        self._on_delay = on_delay
        self._on_close = on_close
        self._jitter = jitter
        self._batch = BATCH if batch is None else batch
        self._failures = 0
        self._said = ""
        self._not_before = clock.monotonic_seconds()

    def turn(self) -> float:
        """Hand on one batch; returns for how many seconds nothing more is due.

        Raises what `after` and the cursors raise.
        """
        early = self._not_before - self._clock.monotonic_seconds()
        if early > 0:
            return early  # woken by a commit while it waits after a failure
        batch = self._after(self._cursors.at(self._name), self._batch)
        if not batch:
            return LONGEST_SLEEP_SECONDS
        try:
            self._deliver([entry for _, entry in batch])
        except NotNow as why:
            return self._put_off(str(why), why.wait_seconds)
        except Again:
            return 0.0
        self._cursors.advance(self._name, batch[-1][0])
        self._failures, self._said = 0, ""
        return 0.0 if len(batch) == self._batch else LONGEST_SLEEP_SECONDS

    def land(self) -> bool:
        """Nothing is ever under way between two turns."""
        return False

    def close(self) -> None:
        """Let go of what is followed."""
        self._on_close()

    def _put_off(self, why: str, asked_seconds: float) -> float:
        self._failures += 1
        if why != self._said:
            self._said = why
            self._on_delay(f"{self._name}: {why}; trying again")
        wait = self._jitter(
            doubled_wait_seconds(
                self._failures,
                first_seconds=FIRST_WAIT_SECONDS,
                longest_seconds=LONGEST_WAIT_SECONDS,
            )
        )
        wait = max(wait, asked_seconds)
        self._not_before = self._clock.monotonic_seconds() + wait
        return wait
