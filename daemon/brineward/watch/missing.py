"""Readings that were lost during an outage, when nobody could notice that they were missing.

During an outage of the link, the broker or the service, readings wait in the broker, and arrive
late but in order. If a sensor's next reading is further from the one before than its
`silent_after`, the readings between were lost on the way: the broker's queue was full, or kept
nothing. Outside an outage such a gap is a silence, and is announced as one while it lasts.
"""

from dataclasses import dataclass
from typing import Any

from brineward.plant.sensors import SensorTracker
from brineward.plant.tracker import Tracker
from brineward.readings.entries import LinkChanged
from brineward.readings.instants import DAY, HOUR, MINUTE, SECOND, Instant

COMES_WITHIN = MINUTE
"""How long after an outage its gaps are reported: by then frequent sensors have reported."""

TOLD_FOR = DAY
"""How long after the last gap was found they are reported; common practice, no source."""

_ONE_OUTAGE = HOUR
"""A link that comes and goes with less between is one outage."""

_NOTICED_WITHIN = 2 * MINUTE
"""A connection that is dead without a word is noticed by then: MQTT's keep-alive."""


@dataclass(slots=True)
class Gap:
    """What is missing of one sensor."""

    first: Instant
    """The last reading before it,"""
    last: Instant
    """and the first after it."""
    missing: int
    """About so many, by the sensor's own interval."""


class MissingReadings(Tracker):
    """The gaps of the last outages."""

    name = "missing"

    def __init__(self) -> None:
        self.gaps: dict[str, Gap] = {}
        """By sensor."""
        self._since: Instant | None = None
        """The last outage: since when nothing could be received,"""
        self._until: Instant | None = None
        """and from when on it could again; None while it can't."""
        self._found: Instant = 0
        self._newest: dict[str, Instant] = {}
        """Of sensors whose readings came too late to be judged: the newest that came."""

    def outage(self, since: Instant) -> None:
        """From here on nothing can be received."""
        going_on = self._since is not None and self._until is None
        again = self._until is not None and since <= self._until + _ONE_OUTAGE
        if not going_on and not again:
            self._since = since
            self._newest.clear()
        self._until = None

    def link_changed(self, link: LinkChanged, time: Instant) -> None:
        """It came or went at this time."""
        if not link.up:
            self.outage(time)
        elif self._until is None:
            self._until = time

    def too_late(self, sensor: SensorTracker, time: Instant) -> bool:
        """A reading came that is too old to be judged; has a gap come to light, or filled up?"""
        name = sensor.plan.id
        newest = max(sensor.newest, self._newest.get(name, 0))
        if time <= newest:
            return self._filled(name, time)
        found = self.came(sensor, time)
        self._newest[name] = time
        return found

    def came(self, sensor: SensorTracker, time: Instant) -> bool:
        """A reading comes next, long after the one before it; is that a gap of an outage?"""
        name = sensor.plan.id
        newest = max(sensor.newest, self._newest.get(name, 0))
        if time - newest <= sensor.silent_after or not self._is_of_outage(sensor, newest, time):
            return False
        if time > self.announced_until():
            self.gaps.clear()
        missing = round((time - newest) / (sensor.plan.every_seconds * SECOND)) - 1
        gap = self.gaps.get(name)
        if gap is None:
            self.gaps[name] = Gap(newest, time, missing)
        else:
            gap.last, gap.missing = time, gap.missing + missing
        self._found = max(self._found, time)
        return True

    def _is_of_outage(self, sensor: SensorTracker, newest: Instant, time: Instant) -> bool:
        """Else the sensor itself was silent, before it or after it, and that was announced."""
        if self._since is None or newest == 0:
            return False
        until = time if self._until is None else self._until
        before = self._since - sensor.silent_after - _NOTICED_WITHIN
        return before <= newest < until and self._since < time <= until + sensor.silent_after

    def _filled(self, name: str, time: Instant) -> bool:
        """A gateway may bring what it kept after what is new."""
        gap = self.gaps.get(name)
        if gap is None or not gap.first < time < gap.last:
            return False
        gap.missing -= 1
        if gap.missing <= 0:
            del self.gaps[name]
        return True

    def announced_from(self) -> Instant | None:
        """When they are announced: not while messages that had waited may still be on their way."""
        return None if self._until is None else self._until + COMES_WITHIN

    def announced_until(self) -> Instant:
        """Until when they are announced."""
        return self._found + TOLD_FOR

    def snapshot(self) -> list[Any]:
        """What is remembered, as plain data."""
        gaps = {name: [gap.first, gap.last, gap.missing] for name, gap in self.gaps.items()}
        return [self._since, self._until, self._found, gaps, dict(self._newest)]

    def restore(self, data: list[Any]) -> None:
        """Become what `snapshot` wrote."""
        self._since, self._until, self._found, gaps, newest = data
        self.gaps = {name: Gap(*gap) for name, gap in gaps.items()}
        self._newest = dict(newest)
