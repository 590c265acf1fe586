"""Salt used while nothing is loaded: brine is lost, though a float valve keeps the level up.

Mutable, but pure. A leak from a tank that is topped up doesn't show in its level, but the water
that replaces it dissolves salt. The bed is checked every hour in which no pump ran and no tank was
being filled; its fall is tested as a standing tank's level is.
"""

from collections.abc import Sequence
from typing import Any

from brineward.physics.density import density
from brineward.plant.hopper_salt import BULK_DENSITY, HopperSalt
from brineward.plant.levels import LevelTracker
from brineward.plant.loss_test import LossTest, smallest_found_m_per_h
from brineward.plant.mode import ModeTracker
from brineward.plant.plan import DepotPlan, Measure, SensorPlan, Vessel
from brineward.plant.pumps import PumpTracker
from brineward.plant.standing import band_m
from brineward.plant.tracker import Tracker
from brineward.readings.instants import HOUR, MINUTE, Instant
from brineward.readings.modes import Mode
from brineward.readings.outputs import Output

LOOKS_EVERY = 10 * MINUTE
WAIT = 2 * HOUR
"""How long after a load or a fill the hopper's brine may still be taking salt up (common practice,
no source)."""
RANDOM_M = 0.02
"""What single readings' noise may leave of a median of nine, six times over (a rod of 15 mm)."""
SLUMP_M = 0.03
"""A bed that falls by more in an hour has slumped or bridged: that is no brine (common practice,
no source)."""
_DENSITY_AT_C = 10.0
_EMPTIED = frozenset({Mode.DRAINING, Mode.LAID_UP, Mode.FILLING_UP})


class SaltAtRest(Tracker):
    """One hopper's bed over the hours in which nothing is loaded and nothing filled."""

    def __init__(
        self,
        salt: HopperSalt,
        plan: DepotPlan,
        *,
        levels: Sequence[LevelTracker],
        pumps: Sequence[PumpTracker],
        mode: ModeTracker,
    ) -> None:
        self.salt = salt
        self.name = f"salt-at-rest/{salt.vessel.id}"
        self.takes = {salt.sensor.plan.id: self._take}
        self.test = LossTest()
        self.limit_m = _limit_m(salt.sensor.plan)
        """What the bed must have lost."""
        self.brine_per_bed_m3 = _brine_per_bed_m3(plan)
        self._levels, self._pumps, self._mode = tuple(levels), tuple(pumps), mode
        self._next: Instant = 0
        self._looked: Instant = 0
        self._quiet_from: Instant = 0
        self._mark: tuple[Instant, float] | None = None
        """When the hour under way began, and the bed then."""

    @property
    def rate_m3_per_h(self) -> float:
        """About how much brine is lost, m3/h."""
        return self.test.rate_m3_per_h * self.brine_per_bed_m3

    def _take(self, time: Instant, value: float) -> Sequence[Output]:
        if time < self._next:
            return ()
        self._next = time + LOOKS_EVERY
        last, self._looked = self._looked, time
        bed = self.salt.bed_m
        if bed is None or self._disturbed(last, time):
            self._mark, self._quiet_from = None, time + WAIT
            return ()
        if time < self._quiet_from:
            return ()
        if self._mark is None or self.salt.filled > self._mark[0]:
            self._mark = (time, bed)
        elif time - self._mark[0] >= HOUR:
            self._weigh(self._mark, (time, bed))
            self._mark = (time, bed)
        return ()

    def _weigh(self, before: tuple[Instant, float], after: tuple[Instant, float]) -> None:
        fell = round(before[1] - after[1], 4)
        if fell > SLUMP_M:
            return
        area = self.salt.vessel.shape.area_m2(max(0.0, after[1]))
        self.test.add(before[0], after[0], fell, area_m2=area, limit=self.limit_m)

    def _disturbed(self, last: Instant, time: Instant) -> bool:
        """Was anything loaded or filled since the last check, or is that not known?"""
        if self._mode.mode in _EMPTIED:
            self.test.forget()
            return True
        if time - last > 2 * LOOKS_EVERY or self.salt.sensor.implausible:
            return True
        if not all(pump.stood(last, time) for pump in self._pumps):
            return True
        return any(level.movement.direction > 0 for level in self._levels)

    def snapshot(self) -> list[Any]:
        """What is remembered, as plain data."""
        times = [self._next, self._looked, self._quiet_from]
        return [self.test.snapshot(), times, self._mark and list(self._mark)]

    def restore(self, data: list[Any]) -> None:
        """Become what `snapshot` wrote."""
        test, (self._next, self._looked, self._quiet_from), mark = data
        self.test.restore(test)
        self._mark = None if mark is None else (mark[0], mark[1])


def _limit_m(sensor: SensorPlan) -> float:
    """What a bed must have lost, m, by how its height is measured."""
    return band_m(sensor) + RANDOM_M


def _brine_per_bed_m3(plan: DepotPlan) -> float:
    """How much brine at the depot's target a cubic metre of the bed makes, m3."""
    target = plan.strength.target
    return BULK_DENSITY / (target * density(target, _DENSITY_AT_C))


def rest_is_known(plan: DepotPlan) -> bool:
    """Has each pump a switch and each tank of brine a level, so that it is known when all rests?"""
    tanks = [one.id for one in plan.vessels.values() if one.holds_brine]
    return (
        bool(plan.pumps)
        and all(plan.sensor_of(Measure.RUNNING, pump) is not None for pump in plan.pumps)
        and all(plan.sensor_of(Measure.LEVEL, tank) is not None for tank in tanks)
    )


def smallest_by_salt_m3_per_h(plan: DepotPlan, hopper: Vessel, rests_hours: float) -> float | None:
    """The slowest leak that a float hides but the hopper's bed shows in so many hours, m3/h.

    Of hours at rest, at half the hopper's brim. None where its bed isn't measured, or it isn't
    known when all rests.
    """
    sensor = plan.sensor_of(Measure.SALT_LEVEL, hopper.id)
    if sensor is None or not rest_is_known(plan):
        return None
    area = hopper.shape.area_m2(hopper.brim_m / 2)
    return smallest_found_m_per_h(_limit_m(sensor), rests_hours) * area * _brine_per_bed_m3(plan)


def salts_at_rest(
    plan: DepotPlan,
    salts: dict[str, HopperSalt],
    *,
    levels: dict[str, LevelTracker],
    pumps: dict[str, PumpTracker],
    mode: ModeTracker,
) -> list[SaltAtRest]:
    """One a hopper whose bed is known, where each pump has a switch and each tank a level."""
    if not rest_is_known(plan):
        return []
    known = [levels[one.id] for one in plan.vessels.values() if one.holds_brine]
    moving = tuple(pumps.values())
    return [SaltAtRest(one, plan, levels=known, pumps=moving, mode=mode) for one in salts.values()]
