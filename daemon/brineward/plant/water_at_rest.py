"""Water that comes in while nothing is loaded, and shows nowhere: brine or water is lost.

Mutable, but pure. A leak from a tank that a float tops up doesn't show in its level, but the water
that replaces it passes the meter in the water line. While no pump runs, that water must be found
again as a rise of the levels of hopper and tanks, together; what is not found goes elsewhere: a
leak, an overflow, an open drain. It is summed and tested as what a standing tank's level loses.

Never counted is what the meter may show or count too much, what dissolving salt takes up, and a
fall of a level beyond the water that came in: that is seen by the level itself.
"""

import math
from collections.abc import Sequence
from typing import Any, NamedTuple

from brineward.physics.density import density
from brineward.physics.water import FRESH_KG_PER_M3
from brineward.plant.course import median
from brineward.plant.levels import LevelTracker
from brineward.plant.load_balance import SHAPE_SHARE
from brineward.plant.loss_test import LossTest, smallest_found_m_per_h
from brineward.plant.metered import Metered
from brineward.plant.mode import ModeTracker
from brineward.plant.plan import DepotPlan, Measure, SensorPlan, Vessel, VesselKind
from brineward.plant.pumps import PumpTracker
from brineward.plant.salt_at_rest import rest_is_known
from brineward.plant.sensors import SensorTracker
from brineward.plant.standing import (
    EMPTIED,
    SETTLED_M,
    UNKNOWN_SWING_K,
    WAIT,
    band_m,
    block_length,
    expansion_per_k,
    random_m,
)
from brineward.plant.tracker import Taker, Tracker
from brineward.readings.instants import HOUR, SECOND, Instant
from brineward.readings.outputs import Output

METER_SHARE = 0.05
"""A water meter may count so much too much: the limit of class 2 at its lowest flows, 2 % above
those (OIML R 49-1:2013, 4.2, from memory)."""
FILLS_M3_PER_S = 3e-5
"""Faster than this, 108 L/h, is a fill: what of it is missing within what meter and shapes may be
off says nothing (common practice, no source)."""
STEPS = 4
"""Levels that rise by more than came in, or fall, by more than this share of the limit within a
block: salt was tipped in, or a drain opened."""

_GRAIN_KG_PER_M3 = 2165.0
"""Sodium chloride's own density (CRC Handbook, from memory)."""
_FEWEST, _MOST = 6, 64
"""Readings of a level that a block needs, and takes, however fast they come."""
_AT_C = 10.0
_SATURATED = 0.26


class _Block(NamedTuple):
    """What was known at the end of ten minutes or so."""

    time: Instant
    held_m3: float
    """In hopper and tanks, at the temperature at which the evidence began."""
    swing_m3: float
    """How much of that is allowed for the temperature."""


class _Store:
    """A vessel in which the water may be found: its levels of the block under way."""

    def __init__(
        self, level: LevelTracker, thermometer: SensorTracker | None, strength: float
    ) -> None:
        self.level, self._thermometer = level, thermometer
        self._expands = expansion_per_k(strength, _AT_C)
        self.values: list[float] = []
        self.began_c: float | None = None
        """Its temperature as the stretch began."""

    def add(self, value: float, share: float) -> None:
        """Take a level after this share of the block: a few dozen, evenly spread."""
        if len(self.values) <= _MOST * min(share, 1.0):
            self.values.append(value)

    def close(self, now: Instant) -> tuple[float, float] | None:
        """What it holds, m3, and the part of that which its warming explains; None if unsure."""
        values, self.values = self.values, []
        sensor = self.level.sensor
        if len(values) < _FEWEST or sensor.implausible or not sensor.fresh(now):
            return None
        volume = self.level.vessel.shape.volume_m3(median(values))
        warm = None if self._thermometer is None else self._thermometer.believed(now)
        if self.began_c is None or warm is None:
            self.began_c = warm
            return volume, 0.0
        return volume, volume * self._expands * (warm - self.began_c)

    @property
    def unknown_swing_m3(self) -> float:
        """How far its volume may change unseen where nobody knows its temperature."""
        vessel = self.level.vessel
        if self._thermometer is not None:
            return 0.0
        return _unknown_swing_m3(vessel, self._expands)


class WaterAtRest(Tracker):
    """The meters in the water line, and what levels show of it while nothing runs."""

    def __init__(
        self,
        plan: DepotPlan,
        meters: Sequence[SensorTracker],
        stores: Sequence[_Store],
        *,
        pumps: Sequence[PumpTracker],
        mode: ModeTracker,
    ) -> None:
        self.meters = tuple(meters)
        self.name = f"water-at-rest/{self.meters[0].plan.id}"
        self._stores, self._pumps, self._mode = tuple(stores), tuple(pumps), mode
        self._counts = {one.plan.id: Metered() for one in self.meters}
        self.takes = {one.plan.id: self._metered(one) for one in self.meters} | {
            one.level.sensor.plan.id: self._levelled(one) for one in self._stores
        }
        levels = [one.level.sensor.plan for one in self._stores]
        self._block = max(block_length(one) for one in levels)
        self._zero_m3_per_s = sum(accuracy_m3_per_s(one.plan) for one in self.meters)
        self._area_m2 = sum(_area_m2(one.level.vessel) for one in self._stores)
        self._found_share = found_share(plan.strength.target)
        self.test = LossTest()
        self.gone_m3 = 0.0
        """What is missing since the loss began, nothing taken off for the meter's accuracy."""
        self._begun: Instant = 0
        """When the block under way began; 0 before the first."""
        self._quiet_from: Instant = 0
        self._filling = False
        """Is the stretch under way a fill, with what comes of it later?"""
        self._fills_until: Instant = 0
        self._mark: _Block | None = None
        """The block in which the stretch under way began."""
        self._last: _Block | None = None
        self._pending_m3 = 0.0
        """The water of the newest block: it counts once the next one has shown it."""
        self._water_m3 = 0.0
        """What has come in since the mark, up to the block before the newest one."""
        self._counted = (0.0, 0.0)
        """Of the stretch under way: what the test was given, and what is missing in all, m3."""
        self._stretches = 0
        self._swings_m3 = 0.0
        """What is allowed for temperature in the stretches before this one."""

    @property
    def rate_m3_per_h(self) -> float:
        """About how much is lost, m3/h."""
        return self.gone_m3 / self.test.stood_hours if self.test.stood_hours else 0.0

    # -- one reading

    def _levelled(self, store: _Store) -> Taker:
        def take(time: Instant, value: float) -> Sequence[Output]:
            if self._begun:
                store.add(value, (time - self._begun) / self._block)
            return ()

        return take

    def _metered(self, meter: SensorTracker) -> Taker:
        count, every = meter.plan.id, meter.plan.every_seconds
        longest = round(max(2 * every, meter.plan.silent_after_seconds) * SECOND)

        def take(time: Instant, value: float) -> Sequence[Output]:
            if self._begun:
                self._counts[count].add(time, value, longest)
            if time >= self._begun + self._block:
                self._close(time)
            return ()

        return take

    # -- one block

    def _close(self, now: Instant) -> None:
        """A block is over."""
        begun, self._begun = self._begun, now
        water = self._water(now)
        held = [one.close(now) for one in self._stores]
        known = [one for one in held if one is not None]
        if water is None or len(known) < len(held) or self._disturbed(begun, now):
            self._break_off(now)
            return
        if now < self._quiet_from:
            return
        swing = sum(warming for _, warming in known)
        block = _Block(now, sum(volume for volume, _ in known) - swing, abs(swing))
        if self._last is not None and self._moved_otherwise(self._last, block, water):
            self._break_off(now)
            return
        self._count(block, water, (now - begun) / SECOND)

    def _water(self, now: Instant) -> float | None:
        """What all meters have counted in the block, m3; None where one has a gap."""
        total, whole = 0.0, True
        for meter in self.meters:
            count = self._counts[meter.plan.id]
            count.stop(now)
            counted = None if meter.doubted else count.volume()
            whole = whole and counted is not None
            total += 0.0 if counted is None else counted[0]
            self._counts[meter.plan.id] = fresh = Metered()
            fresh.start(now)
        return total if whole else None

    def _disturbed(self, since: Instant, now: Instant) -> bool:
        """Was anything loaded since then, or is that not known?"""
        if self._mode.mode in EMPTIED:
            self.test.forget()
            return True
        return not all(pump.stood(since, now) for pump in self._pumps)

    def _moved_otherwise(self, before: _Block, after: _Block, water_m3: float) -> bool:
        """Have the levels moved by what is neither this water nor a lack of it?"""
        rise, most = after.held_m3 - before.held_m3, self._limit_m3(after) / STEPS
        return not -most <= rise <= water_m3 + self._pending_m3 + most

    def _break_off(self, now: Instant) -> None:
        self._quiet_from = now + WAIT
        self._filling, self._fills_until = False, 0
        self._end_stretch()
        self._last = None

    def _count(self, block: _Block, water_m3: float, seconds: float) -> None:
        if water_m3 > FILLS_M3_PER_S * seconds:
            self._fills_until = block.time + WAIT
        fills, filled = block.time < self._fills_until, self._filling
        self._filling = fills
        if fills and not filled and self._last is not None:
            # From the last block on: in that it had not begun.
            self._begin_stretch(self._last)
        if self._mark is None:
            self._begin_stretch(block)
            if fills:
                water_m3 = 0.0  # half of it, or all, had raised the level before
        else:
            self._water_m3 += self._pending_m3
            self._weigh(self._mark, block, fills=fills or filled)
            if filled and not fills:
                self._begin_stretch(block)
        self._pending_m3, self._last = water_m3, block

    def _begin_stretch(self, block: _Block) -> None:
        self._end_stretch()
        self._mark = block
        self._stretches = self._stretches + 1 if self.test.evidence_m else 1

    def _end_stretch(self) -> None:
        if self._last is not None:
            self._swings_m3 += self._last.swing_m3
        self._mark, self._water_m3, self._counted = None, 0.0, (0.0, 0.0)
        self._pending_m3 = 0.0
        for one in self._stores:
            one.began_c = None

    def _weigh(self, mark: _Block, block: _Block, *, fills: bool) -> None:
        """What is missing in the stretch so far, and what of it is beyond doubt."""
        if self.test.evidence_m == 0.0 and not self.test.losing:
            self.gone_m3, self._swings_m3, self._stretches = 0.0, 0.0, 1
        came, rise = self._water_m3, max(0.0, block.held_m3 - mark.held_m3)
        missing = came * self._found_share - rise
        may_be_off = came * (METER_SHARE + SHAPE_SHARE)
        may_be_off += self._zero_m3_per_s * (block.time - mark.time) / SECOND
        sure = missing - may_be_off
        if fills:
            # Waves and foam. What more it has raised already than is counted is no evidence.
            sure = max(0.0, sure - SETTLED_M * self._area_m2)
            missing = max(0.0, missing)
        before = mark if self._last is None else self._last
        counted, all_missing = self._counted
        self._counted = (sure, missing)
        self.gone_m3 += missing - all_missing
        self.test.add(
            before.time,
            block.time,
            round((sure - counted) / self._area_m2, 9),
            area_m2=self._area_m2,
            limit=self._limit_m3(block) / self._area_m2,
        )

    def _limit_m3(self, block: _Block) -> float:
        """What the evidence must pass: what levels may be off, and what temperature may do.

        Sensors of their own don't all go from end to end together: squares are summed.
        """
        doubts = [_band_m3(one.level.vessel, one.level.sensor.plan) for one in self._stores]
        noises = [
            random_m(
                one.level.sensor.plan,
                math.sqrt(one.level.course.noise.variance),
                max(1, self._stretches),
            )
            * _area_m2(one.level.vessel)
            for one in self._stores
        ]
        swings = self._swings_m3 + block.swing_m3
        swings += sum(one.unknown_swing_m3 for one in self._stores)
        return math.hypot(*doubts) + math.hypot(*noises) + swings

    # -- plain data

    def snapshot(self) -> list[Any]:
        """What is remembered, as plain data."""
        return [
            self.test.snapshot(),
            [self._begun, self._quiet_from, self._fills_until, self._filling, self._stretches],
            [self.gone_m3, self._pending_m3, self._water_m3, list(self._counted), self._swings_m3],
            [self._mark and list(self._mark), self._last and list(self._last)],
            [[list(one.values), one.began_c] for one in self._stores],
            [self._counts[one.plan.id].snapshot() for one in self.meters],
        ]

    def restore(self, data: list[Any]) -> None:
        """Become what `snapshot` wrote."""
        test, times, volumes, blocks, stores, counts = data
        self.test.restore(test)
        self._begun, self._quiet_from, self._fills_until, self._filling, self._stretches = times
        self.gone_m3, self._pending_m3, self._water_m3, counted, self._swings_m3 = volumes
        self._counted = (counted[0], counted[1])
        self._mark, self._last = (None if b is None else _Block(b[0], b[1], b[2]) for b in blocks)
        for store, (values, began_c) in zip(self._stores, stores, strict=True):
            store.values, store.began_c = list(values), began_c
        for meter, count in zip(self.meters, counts, strict=True):
            self._counts[meter.plan.id].restore(count)


def found_share(mass_fraction: float) -> float:
    """Of fresh water that dissolves salt to this strength: so much of it raises levels, by volume.

    The bed loses more volume than the brine gains. 0 to 0.26.
    """
    per_water = mass_fraction / (1.0 - mass_fraction)
    brine_m3 = (1.0 + per_water) / density(mass_fraction, _AT_C)
    return FRESH_KG_PER_M3 * (brine_m3 - per_water / _GRAIN_KG_PER_M3)


def accuracy_m3_per_s(meter: SensorPlan) -> float:
    """What a meter may show while nothing flows: its plus-or-minus."""
    return math.sqrt(3.0) * meter.standard_uncertainty


def takes_water(plan: DepotPlan) -> list[Vessel]:
    """The hopper and the tanks of brine, in which the depot's water must be found."""
    return [one for one in plan.vessels.values() if one.kind is not VesselKind.CONTAINMENT]


def water_meters(plan: DepotPlan) -> list[SensorPlan]:
    """The meters in the water lines into hopper and tanks."""
    found = (plan.sensor_of(Measure.FLOW, one.id) for one in takes_water(plan))
    return [one for one in found if one is not None]


def _area_m2(vessel: Vessel) -> float:
    return vessel.shape.area_m2(vessel.brim_m / 2)


def _band_m3(vessel: Vessel, level: SensorPlan) -> float:
    return band_m(level) * _area_m2(vessel)


def _unknown_swing_m3(vessel: Vessel, expands: float) -> float:
    return expands * UNKNOWN_SWING_K * vessel.shape.volume_m3(vessel.brim_m)


def _strength(plan: DepotPlan, vessel: Vessel) -> float:
    return _SATURATED if vessel.kind is VesselKind.HOPPER else plan.strength.target


def smallest_by_water_m3_per_h(plan: DepotPlan, rests_hours: float) -> float | None:
    """The slowest leak that a float hides but the water meters show in so many hours, m3/h.

    Of hours at rest, with the tanks' temperatures steady where they are measured. None where there
    is no meter, a level is missing, or it isn't known when all rests.
    """
    meters, vessels = water_meters(plan), takes_water(plan)
    levels = [plan.sensor_of(Measure.LEVEL, one.id) for one in vessels]
    if not meters or not rest_is_known(plan):
        return None
    swings, bands, noises, block = 0.0, [], [], 0
    for vessel, level in zip(vessels, levels, strict=True):
        if level is None:
            return None
        bands.append(_band_m3(vessel, level))
        if plan.sensor_of(Measure.TEMPERATURE, vessel.id) is None:
            expands = expansion_per_k(_strength(plan, vessel), _AT_C)
            swings += _unknown_swing_m3(vessel, expands)
        noises.append(random_m(level, level.standard_uncertainty, 1) * _area_m2(vessel))
        block = max(block, block_length(level))
    area = sum(_area_m2(one) for one in vessels)
    hours = rests_hours - (WAIT + 3 * block) / HOUR
    limit = math.hypot(*bands) + math.hypot(*noises) + swings
    sure = smallest_found_m_per_h(limit / area, hours) * area
    zero = sum(accuracy_m3_per_s(one) for one in meters) * HOUR / SECOND
    share = found_share(plan.strength.target)
    return (sure + zero) * share / (share - METER_SHARE - SHAPE_SHARE)


def waters_at_rest(
    plan: DepotPlan,
    sensors: dict[str, SensorTracker],
    *,
    levels: dict[str, LevelTracker],
    pumps: dict[str, PumpTracker],
    mode: ModeTracker,
) -> list[WaterAtRest]:
    """One where a meter counts the water and each pump has a switch, each vessel a level."""
    meters, vessels = water_meters(plan), takes_water(plan)
    if not meters or not rest_is_known(plan) or any(one.id not in levels for one in vessels):
        return []
    stores = []
    for vessel in vessels:
        thermometer = plan.sensor_of(Measure.TEMPERATURE, vessel.id)
        known = None if thermometer is None else sensors[thermometer.id]
        stores.append(_Store(levels[vessel.id], known, _strength(plan, vessel)))
    counted = [sensors[one.id] for one in meters]
    moving = tuple(pumps.values())
    return [WaterAtRest(plan, counted, stores, pumps=moving, mode=mode)]
