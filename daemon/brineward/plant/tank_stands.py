"""Since when a vessel's brine has been at rest, and the observations of its probe meanwhile.

Mutable, but pure. Nothing has come in while the level and the volume stayed the same: so the
strength has not changed, and any change in what the probe shows is the probe's own. Every movement
of the level ends a standing period (a "stand"), and so does a silence in which it may have moved.
What comes in between two of them is added up as it comes, so that the second's strength can be
predicted from the first's.
"""

from collections.abc import Sequence
from math import exp
from typing import Any

from brineward.physics.fed import Fed
from brineward.plant.fill_mix import inflow_m3_per_s
from brineward.plant.levels import LevelTracker
from brineward.plant.plan import DepotPlan
from brineward.plant.probes import Probe
from brineward.plant.strength_at_rest import STANDS_FOR
from brineward.plant.tracker import Tracker
from brineward.readings.instants import HOUR, MINUTE, SECOND, Instant
from brineward.readings.outputs import Output

LOOK_EVERY = 8 * HOUR
"""Observations closer together would share the weather that makes probe and thermometer differ
(common practice, no source). A test is followed by one at once, which links the two."""
ROSE = 0.005
"""A rise of the volume by this share may be water creeping in; warming by 10 K is 0.4 %."""
LEAST_M3 = 0.05
"""A tank that holds less has been emptied."""
_BROKEN_OFF = 10 * MINUTE


class TankStand(Tracker):
    """One vessel's standing period."""

    version = 2

    def __init__(self, probe: Probe, level: LevelTracker, *, target: float, flow: float) -> None:
        """`target` is what its fills should bring, `flow` how fast the declared one does, m3/s."""
        self._target, self._flow = target, flow
        self._probe = probe
        self._level = level
        self.name = f"stand/{probe.vessel}"
        self.takes = {probe.sensor.plan.id: self._take}
        self._seen_since: Instant = 0
        """What the tank did before this is not known."""
        self._minute: Instant = 0
        self._looked: Instant = 0
        self._least_m3 = 0.0
        """Its volume when it came to rest, and the least since."""
        self._before: float | None = None
        """The last period that was observed; None if it isn't known what came in since."""
        self._stays = 1.0
        """The share of the tank that was there then."""

    def _take(self, time: Instant, value: float) -> Sequence[Output]:
        """A reading of the probe: a movement ends the period at once; the rest is once a minute."""
        if self._level.movement.direction:
            self._end()
        gone = time - self._minute
        if gone < MINUTE:
            return ()
        if gone > _BROKEN_OFF:
            self._end()
            self._seen_since, self._before = time, None
        self._minute = time
        self._let_in(gone / SECOND)
        self._stand(time)
        self._probe.came = self._came()
        return ()

    def _end(self) -> None:
        self._probe.stand = None

    def _came(self) -> Fed | None:
        if self._before is None:
            return None
        came = round(1.0 - self._stays, 9)
        return Fed(self._before, came, self._target, self._probe.stepped)

    def _let_in(self, seconds: float) -> None:
        """What came in since the last minute, into a tank that is stirred by it."""
        level = self._level
        if self._before is None or not level.movement.direction or level.course.level is None:
            return
        volume = level.vessel.shape.volume_m3(level.course.level)
        came = inflow_m3_per_s(level, self._flow) * seconds
        self._stays = round(self._stays * exp(-came / max(volume, LEAST_M3)), 9)

    def _stand(self, now: Instant) -> None:
        level, probe = self._level, self._probe
        if level.sensor.implausible or level.course.level is None:
            self._before = None
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
            # From now on this period's brine is believed to be at rest.
            probe.stand, self._least_m3, self._looked = now / SECOND, volume, 0
        if volume > self._least_m3 * (1.0 + ROSE):
            self._end()
            self._seen_since, self._before = now, None
            return
        self._least_m3 = min(self._least_m3, volume)
        due = now - self._looked >= LOOK_EVERY or self._looked < probe.tested_at
        # A look is the mean of an hour, so it waits until the last step is an hour ago.
        if due and now - probe.stepped_at > HOUR and probe.in_standing_brine(now):
            self._looked = now
            fed = None if self._before == probe.stand else self._came()
            if probe.look(now, probe.stand, fed):
                self._before, self._stays = probe.stand, 1.0

    def snapshot(self) -> list[Any]:
        """What is remembered, as plain data."""
        stand = [self._probe.stand, self._least_m3]
        return [stand, self._seen_since, self._minute, self._looked, self._before, self._stays]

    def restore(self, data: list[Any]) -> None:
        """Become what `snapshot` wrote."""
        (stand, least_m3), seen_since, minute, looked, before, stays = data
        self._before, self._stays = None if before is None else float(before), float(stays)
        self._probe.stand = None if stand is None else float(stand)
        self._seen_since, self._minute, self._looked = int(seen_since), int(minute), int(looked)
        self._least_m3 = float(least_m3)
        self._probe.came = self._came()


def tank_stands(
    plan: DepotPlan, probes: dict[str, Probe], levels: dict[str, LevelTracker]
) -> list[TankStand]:
    """That of each vessel with a probe whose level is measured."""
    flows = {fill.into: fill.flow_m3_per_s for fill in plan.fills}
    return [
        TankStand(probe, levels[vessel], target=plan.strength.target, flow=flows.get(vessel, 0.0))
        for vessel, probe in probes.items()
        if vessel in levels
    ]
