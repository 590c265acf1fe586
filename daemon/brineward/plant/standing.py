"""A vessel at rest: what its level loses while nothing runs, temperature allowed for.

Mutable, but pure. The level is taken in blocks of ten minutes, the median of each; a block counts
once the next one is undisturbed too, so that the beginning of a load or a fill is never mistaken
for a loss. Only differences between two blocks of one stretch count: a sensor's constant error
cancels, and gaps, loads and fills cost only the time that they take.
"""

import math
from collections.abc import Sequence
from typing import Any, NamedTuple

from brineward.physics.density import density, density_per_kelvin
from brineward.physics.salinity import Salinity
from brineward.plant.course import median
from brineward.plant.levels import LevelTracker
from brineward.plant.loss_test import LossTest
from brineward.plant.mode import ModeTracker
from brineward.plant.plan import DepotPlan, SensorPlan
from brineward.plant.pumps import PumpTracker
from brineward.plant.sensors import SensorTracker
from brineward.plant.strengths import StrengthTracker
from brineward.plant.tracker import Tracker
from brineward.readings.instants import DAY, MINUTE, SECOND, Instant
from brineward.readings.modes import Mode
from brineward.readings.outputs import Output

WAIT = 30 * MINUTE
"""How long after any movement the level is not used: waves, foam, a float that is still closing
(common practice, no source)."""

BLOCK = 10 * MINUTE
_FEWEST = 12
"""A block is longer where it would hold fewer readings."""
_MOST = 64
"""Values of a block, evenly spread, however fast a sensor reports."""

GIVES_WAY = 0.005
"""Of a rise: so much of it a plastic tank may give back afterwards by bulging.

Computed for polyethylene with thin-walled hoop stress, 2 rho g dh r / (E t) of the filled height
h: a rise of 0.3 m in a 2.4 m tank with 12 mm of wall costs 0.7 % of it at once, by a modulus of
0.7 GPa, and half as much again over a day as the modulus falls by a third (moduli from memory).
"""
GIVES_WAY_FOR = DAY

RANDOM = 6.0
"""How many standard uncertainties of random error the limit allows: with a block each ten minutes
that is less than one false alarm in a thousand years, if readings are normal."""
MEDIAN_LOSS = 1.2533
"""The median of normal readings is this much less certain than their mean (sqrt(pi / 2))."""
SETTLED_M = 0.002
"""What is left of foam and waves after the wait (common practice, no source)."""

UNKNOWN_SWING_K = 5.0
"""Without a thermometer, a tank's temperature may have changed by this much (common practice,
no source): some tonnes of brine follow the air over days."""

EMPTIED = frozenset({Mode.DRAINING, Mode.LAID_UP, Mode.FILLING_UP})
"""The modes in which a vessel is emptied or filled on purpose."""
_COLDEST_C, _WARMEST_C = -20.0, 45.0
_STRONGEST = 0.26


class Heat(NamedTuple):
    """How a vessel's level changes with its temperature."""

    expansion_per_k: float
    """The brine's, by volume."""
    temperature_c: float | None
    """None where nobody knows it."""


def expansion_per_k(mass_fraction: float, temperature_c: float) -> float:
    """By how much of its volume brine expands a kelvin: the mass stays, the density falls.

    Valid: as `brineward.physics.density`; what is outside is taken at the end of the range.
    Source: the density's own (CRC Handbook, Perry's), checked against CoolProp's Melinder tables.
    """
    w = min(max(mass_fraction, 0.0), _STRONGEST)
    t = min(max(temperature_c, _COLDEST_C), _WARMEST_C)
    return -density_per_kelvin(w, t) / density(w, t)


class StandingTracker(Tracker):
    """One vessel: the stretches in which it is at rest, and the test of what it loses in them."""

    def __init__(
        self,
        level: LevelTracker,
        plan: DepotPlan,
        *,
        pumps: Sequence[PumpTracker],
        mode: ModeTracker,
        thermometer: SensorTracker | None,
        strength: StrengthTracker | None,
    ) -> None:
        self.vessel = level.vessel
        self.level = level
        self.name = f"standing/{level.vessel.id}"
        self.takes = {level.sensor.plan.id: self._take}
        self.test = LossTest()
        self._pumps = tuple(pumps)
        # Without a switch on each pump that draws from it, a fall may be a load.
        drawing = [one for one in plan.pumps.values() if one.draws_from == level.vessel.id]
        self._pumps_known = len(self._pumps) == len(drawing)
        self._mode, self._thermometer, self._strength = mode, thermometer, strength
        self._nominal = plan.strength.target
        every = level.sensor.plan.every_seconds
        self._block = block_length(level.sensor.plan)
        self._least_gap = self._block // _MOST
        self._longest_gap = round(max(2 * every, level.sensor.plan.silent_after_seconds) * SECOND)
        self._last: Instant = 0
        """When it was read last."""
        self._quiet_from: Instant = 0
        self._values: list[float] = []
        self._begun: Instant = 0
        """When the block under way began."""
        self._counted: tuple[Instant, float, float | None] | None = None
        """End, level and temperature of the last block that counts."""
        self._held: tuple[Instant, float, float | None] | None = None
        """The same of the block after it, until the next one is undisturbed too."""
        self._heat = Heat(0.0, None)
        """As the stretch began."""
        self._stretches = 0
        """How many the evidence is from."""
        self._doubt_m = 0.0
        """How far the allowance for temperature may be off in the stretches before this one."""
        self._lowest_m: float | None = None
        """The lowest level since the last stretch."""
        self._slack_m = 0.0
        self._slack_until: Instant = 0

    # -- one reading

    def _take(self, time: Instant, value: float) -> Sequence[Output]:
        last, self._last = self._last, time
        if self._disturbed(last, time):
            self._disturb(time)
        elif time >= self._quiet_from:
            if time >= self._begun + self._block:
                self._close(time)
            values = self._values
            if len(values) * self._least_gap <= time - self._begun:
                values.append(value)
        return ()

    def _disturbed(self, last: Instant, time: Instant) -> bool:
        """Is the vessel not at rest, or is that not known?"""
        if time - last > self._longest_gap or self.level.sensor.implausible:
            return True
        direction = self.level.movement.direction
        if direction > 0 or (direction < 0 and not self._pumps_known):
            return True
        if not all(pump.stood(last, time) for pump in self._pumps):
            return True
        return self._mode.mode in EMPTIED

    def _disturb(self, time: Instant) -> None:
        self._quiet_from = self._begun = time + WAIT
        if self._values:
            self._values = []
        if self._counted is not None:
            self._end_stretch()
        level = self.level.course.level
        if level is not None and (self._lowest_m is None or level < self._lowest_m):
            self._lowest_m = level
        if self._mode.mode in EMPTIED:
            self.test.forget()

    # -- one block

    def _close(self, time: Instant) -> None:
        """The block is over: the one before it counts."""
        values, self._values = self._values, []
        self._begun = time
        if len(values) < _FEWEST // 2:
            return
        block = (time, median(values), self._temperature(time))
        if self._counted is None:
            self._begin_stretch(block)
            return
        if self._held is not None:
            self._count(self._counted, self._held)
            self._counted = self._held
        self._held = block

    def _begin_stretch(self, block: tuple[Instant, float, float | None]) -> None:
        time, level, temperature = block
        self._counted, self._held = block, None
        self._stretches = self._stretches + 1 if self.test.evidence_m else 1
        strength = self._nominal
        if self._strength is not None and isinstance(self._strength.newest, Salinity):
            strength = self._strength.newest.mass_fraction
        expands = expansion_per_k(strength, 10.0 if temperature is None else temperature)
        self._heat = Heat(expands, temperature)
        if self._lowest_m is not None and level > self._lowest_m:
            self._slack_m = GIVES_WAY * (level - self._lowest_m)
            self._slack_until = time + GIVES_WAY_FOR
        self._lowest_m = None

    def _end_stretch(self) -> None:
        if self._counted is not None:
            self._doubt_m += self._stretch_doubt_m(self._counted)
        self._counted = self._held = None

    def _count(
        self,
        before: tuple[Instant, float, float | None],
        after: tuple[Instant, float, float | None],
    ) -> None:
        """What was lost between two blocks: the fall, less what cooling explains of it."""
        if self.test.evidence_m == 0.0:
            self._stretches, self._doubt_m = 1, 0.0
            self._heat = Heat(self._heat.expansion_per_k, before[2])
        area = self.vessel.shape.area_m2(after[1])
        loss = before[1] - after[1]
        if before[2] is not None and after[2] is not None:
            loss += self._per_kelvin_m(after[1]) * (after[2] - before[2])
        if self._slack_m > 0.0 and loss > 0.0:
            given = min(loss, self._slack_m) if after[0] <= self._slack_until else 0.0
            loss -= given
            self._slack_m = self._slack_m - given if given else 0.0
        self.test.add(before[0], after[0], loss, area_m2=area, limit=self._limit_m(after))

    def _limit_m(self, block: tuple[Instant, float, float | None]) -> float:
        """What the evidence must pass, m.

        The sensor may go from one end of its data sheet's plus-or-minus to the other. The
        allowance for temperature counts as doubt once more: walls that widen or a pressure that
        doesn't change make up for all of it, and a tank in layers has one thermometer.
        """
        doubt = self._doubt_m + self._stretch_doubt_m(block)
        noise = self.level.course.noise.variance
        random = random_m(self.level.sensor.plan, math.sqrt(noise), self._stretches)
        return band_m(self.level.sensor.plan) + random + doubt

    def _stretch_doubt_m(self, block: tuple[Instant, float, float | None]) -> float:
        before, after = self._heat.temperature_c, block[2]
        swing = UNKNOWN_SWING_K if before is None or after is None else abs(after - before)
        return self._per_kelvin_m(block[1]) * swing

    def _per_kelvin_m(self, level_m: float) -> float:
        """The rise of the level a kelvin: of its mean depth, whatever the vessel's shape."""
        area = self.vessel.shape.area_m2(level_m)
        if area <= 0.0:
            return 0.0
        return self._heat.expansion_per_k * self.vessel.shape.volume_m3(level_m) / area

    def _temperature(self, time: Instant) -> float | None:
        return None if self._thermometer is None else self._thermometer.believed(time)

    # -- plain data

    def snapshot(self) -> list[Any]:
        """What is remembered, as plain data."""
        return [
            self.test.snapshot(),
            [self._last, self._quiet_from, self._begun, list(self._values)],
            [self._counted and list(self._counted), self._held and list(self._held)],
            [list(self._heat), self._stretches, self._doubt_m],
            [self._lowest_m, self._slack_m, self._slack_until],
        ]

    def restore(self, data: list[Any]) -> None:
        """Become what `snapshot` wrote."""
        test, times, blocks, stretches, rest = data
        self.test.restore(test)
        self._last, self._quiet_from, self._begun, values = times
        self._values = list(values)
        self._counted, self._held = (None if b is None else (b[0], b[1], b[2]) for b in blocks)
        heat, self._stretches, self._doubt_m = stretches
        self._heat = Heat(*heat)
        self._lowest_m, self._slack_m, self._slack_until = rest


def block_length(sensor: SensorPlan) -> Instant:
    """How long a block of a level sensor's readings is."""
    return max(BLOCK, round(_FEWEST * sensor.every_seconds * SECOND))


def band_m(sensor: SensorPlan) -> float:
    """How far a level may seem to change by the sensor itself, m: across all of its accuracy.

    Its temperature, its drift, what hangs on its cable: a data sheet's plus-or-minus has them all.
    """
    return 2 * math.sqrt(3.0) * sensor.standard_uncertainty + SETTLED_M


def random_m(sensor: SensorPlan, noise_m: float, stretches: int) -> float:
    """How far so many stretches may seem to lose by noise of single readings, m.

    Each stretch has two ends; an end is a block's median.
    """
    readings = min(_MOST, block_length(sensor) / SECOND / sensor.every_seconds)
    return RANDOM * MEDIAN_LOSS * noise_m * math.sqrt(2 * stretches / readings)
