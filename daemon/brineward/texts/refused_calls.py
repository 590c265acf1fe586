"""Calls of a gateway that are refused: said once an hour, and what it means if no other comes."""

import threading
from collections.abc import Callable
from typing import Final

from brineward.clock import Clock
from brineward.texts.handed_in import HttpAnswer

DEAF_AFTER: Final = 3
"""So many refused calls, and no good one between them, are no accident (common practice, no
source)."""
SAID_EVERY_SECONDS: Final = 3600.0
_NO_GATEWAY: Final = 405
"""A GET is somebody who looks round; no gateway hands anything in by it."""


class RefusedCalls:
    """Counts what is refused on one path; for any thread.

    `on_trouble` hears of it at most once an hour, however many there are. What a caller wrote is
    never quoted.
    """

    def __init__(self, path: str, clock: Clock, on_trouble: Callable[[str], None]) -> None:
        self._path = path
        self._clock = clock
        self._on_trouble = on_trouble
        self._lock = threading.Lock()
        self._unsaid = 0
        self._said_at: float | None = None
        self._in_a_row = 0
        self._why = ""

    def answered(self, answer: HttpAnswer) -> None:
        """The gateway was told this."""
        said = ""
        with self._lock:
            if answer.status < 400:
                self._in_a_row, self._why = 0, ""
                return
            self._unsaid += 1
            if answer.status != _NO_GATEWAY:
                self._in_a_row, self._why = self._in_a_row + 1, answer.sentence
            now = self._clock.monotonic_seconds()
            if self._said_at is None or now - self._said_at >= SAID_EVERY_SECONDS:
                calls = "a call" if self._unsaid == 1 else f"{self._unsaid} calls"
                said = f"{calls} to {self._path} refused, the last with {answer.status}"
                said = f"{said}: {answer.sentence}"
                self._unsaid, self._said_at = 0, now
        if said:
            self._on_trouble(said)

    def why(self) -> str:
        """Why the last calls were refused, if none was good among so many; else empty."""
        with self._lock:
            return self._why if self._in_a_row >= DEAF_AFTER else ""
