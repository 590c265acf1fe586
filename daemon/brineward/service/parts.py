"""The parts of the service that have a thread of their own: does each still make progress?

The worker asks, which no other part can hold up. If the worker itself hangs, systemd's watchdog and
its missing sign of life show that.
"""

from collections.abc import Callable, Mapping
from typing import Protocol

from brineward.clock import Clock
from brineward.readings.entries import ServiceTrouble

STUCK_SECONDS = 600.0
"""A part that has not come round for so long hangs; the longest healthy job takes a minute."""

LOOK_SECONDS = 10.0


class Part(Protocol):
    """Something with a thread that goes round."""

    def is_alive(self) -> bool:
        """Does its thread run?"""
        ...

    def went_round(self) -> float | None:
        """When it last came round, on the clock that never steps; None before it began."""
        ...


class PartsLook:
    """Checks the parts, and reports when one has stopped or continues."""

    def __init__(
        self, parts: Mapping[str, Part], clock: Clock, post: Callable[[ServiceTrouble], object]
    ) -> None:
        self._parts = parts
        self._clock = clock
        self._post = post
        self._began = self._looked = clock.monotonic_seconds()
        self._said: str | None = None

    def stopped(self) -> str:
        """Which have stopped, as a sentence; empty where none has."""
        now = self._clock.monotonic_seconds()
        found = []
        for name, part in self._parts.items():
            last = part.went_round()
            quiet = now - (self._began if last is None else last)
            if not part.is_alive():
                found.append(f"{name} stopped")
            elif quiet > STUCK_SECONDS:
                found.append(f"{name} is stuck")
        return f"brineward: {', '.join(found)}" if found else ""

    def look(self) -> None:
        """Post what has changed, every ten seconds at most. Raises what `post` raises."""
        now = self._clock.monotonic_seconds()
        if now - self._looked < LOOK_SECONDS:
            return
        self._looked = now
        sentence = self.stopped()
        if sentence == self._said:
            return
        self._post(
            ServiceTrouble(
                time=self._clock.now(),
                trouble="part-stopped",
                present=bool(sentence),
                sentence=sentence or "Every part of the service goes round.",
            )
        )
        self._said = sentence
