"""The one module that reads clocks, waits, and draws random numbers for jitter.

Everything else is handed a `Clock`, so that a test, a replay or a compressed night can put its
own in place of the machine's.
"""

import random
import threading
import time
from typing import Protocol

_NEVER_STEPS = getattr(time, "CLOCK_BOOTTIME", time.CLOCK_MONOTONIC)
"""Elsewhere than on Linux a machine that slept looks like one whose clock was set ahead."""


class Clock(Protocol):
    """What the shell may know of time."""

    def now(self) -> int:
        """UTC now, in milliseconds since 1970 (an `Instant`)."""
        ...

    def monotonic_seconds(self) -> float:
        """Seconds on a clock that never steps, for intervals only."""
        ...

    def wait(self, wake: threading.Event, seconds: float) -> bool:
        """Wait until `wake` is set or this many seconds of this clock have passed; is it set?"""
        ...


class MachineClock:
    """The machine's own clocks."""

    def now(self) -> int:
        """UTC now, in milliseconds since 1970."""
        return time.time_ns() // 1_000_000

    def monotonic_seconds(self) -> float:
        """Seconds on a clock that never steps, and goes on while the machine sleeps."""
        return time.clock_gettime(_NEVER_STEPS)

    def wait(self, wake: threading.Event, seconds: float) -> bool:
        """Wait until `wake` is set or the seconds have passed; returns whether it is set."""
        return wake.wait(max(0.0, seconds))


class StillClock(MachineClock):
    """A clock whose time of day stands still: what is over is looked at as it was then."""

    def __init__(self, at: int) -> None:
        self._at = at

    def now(self) -> int:
        """UTC then, in milliseconds since 1970."""
        return self._at


class CompressedClock:
    """A clock that starts at `start` and runs `factor` times as fast as the machine's.

    For the laptop: a night in a minute and a half. It stands at `start` for `lead_seconds` of the
    machine's time first. Raises: ValueError where it would not run forward.
    """

    def __init__(self, *, start: int, factor: float, lead_seconds: float = 0.0) -> None:
        if not factor > 0:
            raise ValueError(f"a clock must run forward, and {factor} is not above 0")
        self._start = start
        self._factor = factor
        self._made = time.monotonic()
        self._lead = lead_seconds

    def now(self) -> int:
        """Compressed UTC now, in milliseconds since 1970."""
        elapsed = max(0.0, time.monotonic() - self._made - self._lead)
        return self._start + int(elapsed * self._factor * 1000)

    def monotonic_seconds(self) -> float:
        """Compressed seconds since this clock was made, the lead included."""
        return (time.monotonic() - self._made) * self._factor

    def wait(self, wake: threading.Event, seconds: float) -> bool:
        """Wait until `wake` is set or this many compressed seconds have passed."""
        return wake.wait(max(0.0, seconds / self._factor))


def jittered(seconds: float) -> float:
    """The delay, drawn evenly between half of it and all of it, so that clients don't march."""
    return seconds * (0.5 + 0.5 * random.random())
