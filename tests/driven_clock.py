"""A clock that a test moves."""

import threading
from dataclasses import dataclass


@dataclass
class DrivenClock:
    """A clock that the test moves."""

    seconds: float = 0.0

    def now(self) -> int:
        """The test's time."""
        return round(self.seconds * 1000)

    def monotonic_seconds(self) -> float:
        """The test's time."""
        return self.seconds

    def wait(self, wake: threading.Event, seconds: float) -> bool:
        """Time passes at once."""
        self.seconds += seconds
        return wake.is_set()
