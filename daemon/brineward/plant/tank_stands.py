"""Since when a vessel's brine has stood, and the looks at its probe while it stands.

Mutable, but pure. Nothing has come in while the level stood still and the volume stayed: so the
strength is what it was, and what the probe shows besides is its own doing. Every movement of the
level ends a stand, and so does a silence in which it may have moved.
"""

from collections.abc import Sequence
from typing import Any

from brineward.plant.levels import LevelTracker
from brineward.plant.probes import Probe
from brineward.plant.strength_at_rest import STANDS_FOR
from brineward.plant.tracker import Tracker
from brineward.readings.instants import HOUR, MINUTE, SECOND, Instant
from brineward.readings.outputs import Output

LOOK_EVERY = 8 * HOUR
"""Two looks nearer to one another would share the weather that sets probe and thermometer apart
(common practice, no source). A test is followed by one at once: it holds the two together."""
ROSE = 0.005
"""A volume that has risen by such a share may be water that crept in; warming by 10 K is 0.4 %."""
_BROKEN_OFF = 10 * MINUTE


class TankStand(Tracker):
    """One vessel's stand."""

    def __init__(self, probe: Probe, level: LevelTracker) -> None:
        self._probe = probe
        self._level = level
        self.name = f"stand/{probe.vessel}"
        self.takes = {probe.sensor.plan.id: self._take}
        self._seen_since: Instant = 0
        """What the tank did before this is not known."""
        self._minute: Instant = 0
        self._looked: Instant = 0
        self._least_m3 = 0.0
        """The volume that it stands at, and the least since."""

    def _take(self, time: Instant, value: float) -> Sequence[Output]:
        """A reading of the probe: a movement ends the stand at once; the rest is once a minute."""
        if self._level.movement.direction:
            self._end()
        if time - self._minute < MINUTE:
            return ()
        if time - self._minute > _BROKEN_OFF:
            self._end()
            self._seen_since = time
        self._minute = time
        self._stand(time)
        return ()

    def _end(self) -> None:
        self._probe.stand = None

    def _stand(self, now: Instant) -> None:
        level, probe = self._level, self._probe
        if not level.settled(now) or level.sensor.implausible or level.course.level is None:
            self._end()
            self._seen_since = now
            return
        began = max(level.movement.since, self._seen_since)
        if now - began < STANDS_FOR:
            self._end()
            return
        volume = level.vessel.shape.volume_m3(level.course.level)
        if probe.stand is None:
            # The brine of this stand is first believed to be at rest now.
            probe.stand, self._least_m3, self._looked = now / SECOND, volume, 0
        if volume > self._least_m3 * (1.0 + ROSE):
            self._end()
            self._seen_since = now
            return
        self._least_m3 = min(self._least_m3, volume)
        due = now - self._looked >= LOOK_EVERY or self._looked < probe.tested_at
        if due and probe.in_standing_brine(now):
            self._looked = now
            probe.look(now, probe.stand)

    def snapshot(self) -> list[Any]:
        """What is remembered, as plain data."""
        return [self._probe.stand, self._seen_since, self._minute, self._looked, self._least_m3]

    def restore(self, data: list[Any]) -> None:
        """Become what `snapshot` wrote."""
        stand, seen_since, minute, looked, least_m3 = data
        self._probe.stand = None if stand is None else float(stand)
        self._seen_since, self._minute, self._looked = int(seen_since), int(minute), int(looked)
        self._least_m3 = float(least_m3)


def tank_stands(probes: dict[str, Probe], levels: dict[str, LevelTracker]) -> list[TankStand]:
    """That of each vessel with a probe whose level is measured."""
    return [
        TankStand(probe, levels[vessel]) for vessel, probe in probes.items() if vessel in levels
    ]
