"""Limits floods: how many messages a topic may bring, so that it can't crowd out the others.

Each topic has a token bucket (the name is from RFC 2697), in the times that are passed in. What
waited in the broker while nobody read arrives all at once and is not a flood: `expect_backlog`
makes room for what a sensor within its rate can have sent meanwhile.
"""

from dataclasses import dataclass
from typing import Final

from brineward.readings.instants import MINUTE, SECOND, Instant

PER_SECOND: Final = 20
"""How many readings a second of one sensor are read in the long run; common practice, no source."""

BURST_SECONDS: Final = 60
KEPT_BY_GATEWAYS_SECONDS: Final = 1_000
"""For the service: a gateway that was cut off brings at once what it kept; a day of one reading in
5 s is 17,280."""
_DRAINED_IN: Final = 0.1
"""A backlog comes ten times as fast as it was sent, or faster."""


@dataclass(slots=True)
class _Bucket:
    left: float
    at: Instant
    backlog: int = 0
    """Which backlog `extra` is of: they are numbered."""
    extra: float = 0.0
    surplus: int = 0
    said: Instant | None = None


class FloodGate:
    """Admits what comes within the rate and counts the rest; memory only for each topic asked."""

    def __init__(self, per_second: int = PER_SECOND, *, burst_seconds: int = BURST_SECONDS) -> None:
        """`per_second` is for each sensor of a topic; this many seconds of it may come at once."""
        self.per_second = per_second
        self._burst_seconds = burst_seconds
        self._buckets: dict[str, _Bucket] = {}
        self._backlog = 0
        self._backlog_each = 0.0
        self._backlog_until: Instant = 0

    def expect_backlog(self, seconds: float, now: Instant) -> None:
        """Nobody read for this long (from 0): what was sent meanwhile may arrive now."""
        self._backlog += 1
        self._backlog_each = self.per_second * max(0.0, seconds)
        drained = max(60.0, seconds * _DRAINED_IN)
        self._backlog_until = now + round(drained * SECOND)

    def admits(self, topic: str, received: Instant, *, sensors: int) -> bool:
        """May this message of a topic with this many sensors be read? If not, it is counted."""
        rate = self.per_second * sensors
        most = float(rate * self._burst_seconds)
        bucket = self._buckets.get(topic)
        if bucket is None:
            bucket = self._buckets[topic] = _Bucket(left=most, at=received)
        elapsed = max(0, received - bucket.at) / SECOND
        bucket.left = min(most, bucket.left + rate * elapsed)
        bucket.at = received
        if bucket.backlog != self._backlog:
            bucket.backlog, bucket.extra = self._backlog, self._backlog_each * sensors
        if bucket.extra >= 1 and received <= self._backlog_until:
            bucket.extra -= 1
        elif bucket.left >= 1:
            bucket.left -= 1
        else:
            bucket.surplus += 1
            return False
        return True

    def note_readings(self, topic: str, more: int) -> None:
        """The message that was admitted held this many readings more than one."""
        bucket = self._buckets[topic]
        if bucket.extra >= more:
            bucket.extra -= max(0, more)
        else:
            bucket.left -= max(0, more)

    def surplus_due(self, topic: str, received: Instant) -> int | None:
        """How many were not admitted since the last report, if it is time to report it."""
        bucket = self._buckets[topic]
        if bucket.surplus == 0:
            return None
        if bucket.said is not None and abs(received - bucket.said) < MINUTE:
            return None
        surplus, bucket.surplus, bucket.said = bucket.surplus, 0, received
        return surplus
