"""Refusals: counted by sensor and reason, the last few of each sensor kept for reading."""

import threading
from collections import Counter, deque
from typing import Final

from brineward.readings.values import Refusal

KEPT_BYTES: Final = 256
"""How much of a refused payload is kept."""

_LAST: Final = 5


class Refused(Exception):
    """A payload, or one sensor's part of it, can't be taken; the device must act."""

    def __init__(self, reason: str, sentence: str) -> None:
        super().__init__(sentence)
        self.reason = reason
        self.sentence = sentence


class RefusalCounts:
    """How often each sensor was refused and why, and its last few refusals.

    Written by the one thread that decodes, read by any. Payloads of unknown topics are counted
    under the depot "" and the sensor "".
    """

    def __init__(self) -> None:
        self._lock = threading.Lock()
        self._totals: Counter[tuple[str, str, str]] = Counter()
        self._last: dict[tuple[str, str], deque[Refusal]] = {}

    def count(self, refusal: Refusal) -> None:
        """Count one refusal and keep it among its sensor's last few."""
        sensor = (refusal.depot, refusal.sensor)
        with self._lock:
            self._totals[(*sensor, refusal.reason)] += 1
            self._last.setdefault(sensor, deque(maxlen=_LAST)).append(refusal)

    def totals(self) -> dict[tuple[str, str, str], int]:
        """How many refusals, by depot, sensor and reason."""
        with self._lock:
            return dict(self._totals)

    def last(self, depot: str, sensor: str) -> tuple[Refusal, ...]:
        """The last few refusals of one sensor, the oldest first."""
        with self._lock:
            return tuple(self._last.get((depot, sensor), ()))


def quoted(what: object) -> str:
    """What came, short and safe to print: at most 40 characters, control characters escaped."""
    if isinstance(what, bytes):
        text = what[:41].decode("utf-8", "backslashreplace")
    elif isinstance(what, str):
        text = what
    elif isinstance(what, list):
        return "a list"
    elif isinstance(what, dict):
        return "an object"
    else:
        return _cut(ascii(what))
    return ascii(_cut(text))


def _cut(text: str) -> str:
    return text if len(text) <= 40 else text[:37] + "..."
