"""A hopper's liquid: drained, and flushed where it is filled again soon. Mutable, but pure."""

import math
from collections.abc import Sequence
from typing import Any

from brineward.plant.drains import Drained, Drains
from brineward.plant.level_points import LevelPoints
from brineward.plant.levels import LevelTracker
from brineward.plant.plan import DepotPlan, VesselKind
from brineward.plant.tracker import Tracker
from brineward.readings.instants import HOUR, Instant
from brineward.readings.outputs import EpisodeChanged, Output

LEAST_SHARE = 0.15
"""A drain lets out this share of the hopper at least: the weir's own rise and fall is less (common
practice, no source)."""
FLUSHED_WITHIN = 6 * HOUR
"""Filled again within this time of a drain: it was flushed (common practice, no source)."""
FILLED_AGAIN = 0.8
"""As high as this share of what it fell by."""


class HopperDrains(Tracker):
    """One hopper whose liquid's level is measured."""

    def __init__(self, plan: DepotPlan, level: LevelTracker) -> None:
        self._depot = plan.id
        self.level = level
        self.name = f"drains/{level.vessel.id}"
        self.takes = {level.sensor.plan.id: self._take}
        self._points = LevelPoints(level.vessel.shape, level.sensor.plan)
        whole = level.vessel.shape.volume_m3(level.vessel.brim_m)
        self._drains = Drains(self._points, least_m3=LEAST_SHARE * whole)
        self._drained: tuple[Instant, Instant, float, float] | None = None
        """Of the last drain: when it began and ended, the volume before it and what it let out."""

    def _take(self, time: Instant, value: float) -> Sequence[Output]:
        if time < self._points.until:
            self._points.add(time, value)
            return ()
        point = self._points.add(time, value)
        if point is None:
            return ()
        noise = math.sqrt(self.level.course.noise.variance)
        before = self._drains.now
        outputs: list[Output] = []
        for one in self._drains.point(point, self._points.uncertainty_m3(noise), 0):
            outputs.append(self._changed("drain", time, one))
            if one.ended is not None and one.volume_m3 is not None and before is not None:
                self._drained = (one.began, one.ended, before.before_m3, one.volume_m3)
        if self._drained is not None:
            outputs += self._flushed(point.time, point.volume_m3, time)
        return outputs

    def _flushed(self, at: Instant, volume_m3: float, time: Instant) -> list[Output]:
        """Has it been filled again since it was drained?"""
        if self._drained is None:
            return []
        began, ended, before, left = self._drained
        if at - ended > FLUSHED_WITHIN:
            self._drained = None
            return []
        if volume_m3 < before - (1 - FILLED_AGAIN) * left:
            return []
        self._drained = None
        return [self._changed("flush", time, Drained(began, at, left))]

    def _changed(self, episode: str, time: Instant, one: Drained) -> EpisodeChanged:
        known = one.volume_m3 is not None
        return EpisodeChanged(
            time=time,
            depot=self._depot,
            episode=episode,
            source=self.level.vessel.id,
            began=one.began,
            ended=one.ended,
            amount_m3=one.volume_m3,
            how="by level" if known else None,
        )

    def snapshot(self) -> list[Any]:
        """What is remembered, as plain data."""
        drained = self._drained and list(self._drained)
        return [self._points.snapshot(), self._drains.snapshot(), drained]

    def restore(self, data: list[Any]) -> None:
        """Become what `snapshot` wrote."""
        points, drains, drained = data
        self._points.restore(points)
        self._drains.restore(drains)
        self._drained = None
        if drained is not None:
            began, ended, before, left = drained
            self._drained = (began, ended, before, left)


def hopper_drains(plan: DepotPlan, levels: dict[str, LevelTracker]) -> list[HopperDrains]:
    """One for each hopper whose liquid's level is measured."""
    return [
        HopperDrains(plan, level)
        for level in levels.values()
        if level.vessel.kind is VesselKind.HOPPER
    ]
