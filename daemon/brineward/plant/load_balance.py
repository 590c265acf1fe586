"""What each load takes from the tank, against what the meter in the hose counts of it.

A load during which another pump draws from the tank is not judged.

Mutable, but pure. What is missing beyond all doubt of a load is summed over loads, and the sum
starts again at zero wherever a load contradicts it by more (Page, Biometrika 41, 1954).
"""

import math
from collections.abc import Sequence
from typing import Any, NamedTuple

from brineward.plant.levels import LevelTracker
from brineward.plant.plan import DepotPlan, Measure
from brineward.plant.pumps import PumpTracker
from brineward.plant.sensors import SensorTracker
from brineward.plant.tracker import Tracker
from brineward.readings.instants import MINUTE, SECOND, Instant
from brineward.readings.outputs import Output

WAVES = 30 * SECOND
"""How long after a stop the level isn't read yet (common practice, no source)."""
SHORTEST = MINUTE
"""A run shorter than this is no load."""
SHAPE_SHARE = 0.02
"""A tank's volume by its declared shape is so good (common practice, no source)."""
METER_SHARE = 0.03
"""A meter in a hose is so good for years, beside its zero (common practice, no source)."""
FILL_SHARE = 0.15
"""What a fill brings during a load is so well known by how the level rises before and after."""
FILL_LAG_SECONDS = 90.0
FILL_LAG_DOUBT_SECONDS = 60.0
"""How long after the start a fill comes, through the float and over the weir, and how sure that is
(common practice, no source)."""
FASTEST_FILL = 1.25
"""A level that rises more than so many times as fast as the declared fill makes it rises by
something else as well: salt tipped in drives brine over the weir."""
RANDOM = 5.0
"""How many standard uncertainties of a load's levels the sum must pass."""
_LEAST_M3 = 0.05
_CAP_SHARE = 0.6
"""No single load counts for more than this share of the limit: two are needed at least."""
_MOST_SHARE = 1.5
"""The sum is held to this many limits, so that a repaired line clears within a few loads."""


class Unmetered(NamedTuple):
    """What was missing in a row of loads."""

    since: Instant
    """The end of the last load that missed nothing, or the first load's start."""
    loads: int
    drawn_m3: float
    """What the tank gave in them, the fill's part with it."""
    metered_m3: float


_NOTHING = Unmetered(0, 0, 0.0, 0.0)


class LoadBalance(Tracker):
    """One pump with a meter in its hose and a level in its tank."""

    def __init__(self, pump: PumpTracker, level: LevelTracker, meter: SensorTracker) -> None:
        self.pump, self.level, self.meter = pump, level, meter
        self._others = pump.shared.others
        self.name = f"load-balance/{pump.pump.id}"
        self.takes = {
            pump.switch.plan.id: self._switched,
            meter.plan.id: self._metered,
            level.sensor.plan.id: self._levelled,
        }
        every = max(180.0, 6 * level.sensor.plan.every_seconds)
        self._settles = round(every * SECOND) + WAVES
        """After so long the line through the level is of the time since the stop alone."""
        self._running = False
        self._start: tuple[Instant, float, float] | None = None
        """When the load under way began, and the level and its rise (m, m/s) then."""
        self._stop: Instant = 0
        self._flow: tuple[Instant, float] | None = None
        self._metered_m3 = 0.0
        self.evidence_m3 = 0.0
        self.limit_m3 = math.inf
        self.missing = _NOTHING
        self.losing = False

    def _switched(self, time: Instant, value: float) -> Sequence[Output]:
        if bool(value) == self._running:
            return ()
        self._running = bool(value)
        if self._running:
            self._begin(time)
        else:
            self._stop = time
        return ()

    def _begin(self, time: Instant) -> None:
        course = self.level.course
        seen = self._stop == 0 or time - self._stop > self._settles
        self._flow, self._metered_m3 = None, 0.0
        known = course.level is not None and course.slope is not None
        if seen and known and self.level.sensor.fresh(time) and not self.level.sensor.implausible:
            self._start = (time, course.level or 0.0, self._rise())
        else:
            self._start = None

    def _metered(self, time: Instant, value: float) -> Sequence[Output]:
        if self._start is None:
            return ()
        if self._flow is not None:
            before, flow = self._flow
            if time - before > self.meter.silent_after or self.meter.implausible:
                self._start = None
                return ()
            self._metered_m3 += (flow + value) / 2 * (time - before) / SECOND
        elif time - self._start[0] > self.meter.silent_after:
            self._start = None
            return ()
        self._flow = (time, value)
        return ()

    def _levelled(self, time: Instant, value: float) -> Sequence[Output]:
        if self._start is None or self._running or time - self._stop < self._settles:
            return ()
        start, self._start = self._start, None
        # What another pump drew meanwhile, this one's meter hasn't counted.
        if not all(one.stood(start[0] - self._settles, time) for one in self._others):
            return ()
        course, sensor = self.level.course, self.level.sensor
        late = time - self._stop > self._settles + sensor.silent_after
        if late or course.slope is None or sensor.implausible or self._stop - start[0] < SHORTEST:
            return ()
        since_stop = (time - self._stop) / SECOND
        rises = course.slope if self.level.movement.direction > 0 else 0.0
        self._weigh(start, (course.level or value) - rises * since_stop, self._rise())
        return ()

    def _rise(self) -> float:
        """How fast a fill raises the level now, m/s; 0 where none does."""
        slope, fill = self.level.course.slope, self.level.fill_m_per_s
        if slope is None or self.level.movement.direction <= 0:
            return 0.0
        return slope if fill is None else min(slope, FASTEST_FILL * fill)

    def _weigh(self, start: tuple[Instant, float, float], at_stop: float, rise: float) -> None:
        """Sum what is missing of a load beyond all doubt."""
        began, before, rise_before = start
        seconds = (self._stop - began) / SECOND
        shape = self.level.vessel.shape
        area = shape.area_m2(at_stop)
        if rise_before > 0.0:
            inflow, lag_doubt = (rise_before + rise) / 2 * seconds * area, 0.0
        else:
            inflow = rise * area * max(0.0, seconds - self._fill_lag(before, area, seconds))
            lag_doubt = rise * area * FILL_LAG_DOUBT_SECONDS
        drawn = shape.volume_m3(before) - shape.volume_m3(at_stop) + inflow
        if drawn > shape.volume_m3(self.level.vessel.brim_m):
            return  # so much came in meanwhile that nobody knows it well: a pump left on for hours
        zero = math.sqrt(3.0) * self.meter.plan.standard_uncertainty * seconds
        doubt = (
            METER_SHARE * self._metered_m3
            + SHAPE_SHARE * drawn
            + FILL_SHARE * inflow
            + lag_doubt
            + zero
        )
        readings = max(4.0, self._settles / SECOND / self.level.sensor.plan.every_seconds)
        noise = math.sqrt(self.level.course.noise.variance)
        # A line's end is known half as well as its middle; a load has two.
        self.limit_m3 = max(_LEAST_M3, RANDOM * area * 2 * noise * math.sqrt(2 / readings))
        excess = min(drawn - self._metered_m3 - doubt, _CAP_SHARE * self.limit_m3)
        evidence = min(self.evidence_m3 + excess, _MOST_SHARE * self.limit_m3)
        self.evidence_m3 = max(0.0, round(evidence, 6))
        self._told(began, drawn)

    def _fill_lag(self, before: float, area: float, seconds: float) -> float:
        """How long after its start a load has brought the float down, s."""
        mark = self.level.vessel.fill_mark_m
        if mark is None or before <= mark or self._metered_m3 <= 0.0:
            return FILL_LAG_SECONDS
        # A tank that was filled above its mark takes longer to come down to it.
        return FILL_LAG_SECONDS + (before - mark) * area * seconds / self._metered_m3

    def _told(self, began: Instant, drawn: float) -> None:
        if self.evidence_m3 == 0.0:
            self.missing, self.losing = _NOTHING, False
            return
        was = self.missing
        self.missing = Unmetered(
            was.since or began,
            was.loads + 1,
            round(was.drawn_m3 + drawn, 6),
            round(was.metered_m3 + self._metered_m3, 6),
        )
        self.losing = self.evidence_m3 > (self.limit_m3 / 2 if self.losing else self.limit_m3)

    def snapshot(self) -> list[Any]:
        """What is remembered, as plain data."""
        return [
            [self._running, self._start and list(self._start), self._stop],
            [self._flow and list(self._flow), self._metered_m3],
            [self.evidence_m3, None if math.isinf(self.limit_m3) else self.limit_m3],
            [list(self.missing), self.losing],
        ]

    def restore(self, data: list[Any]) -> None:
        """Become what `snapshot` wrote."""
        run, metered, weighed, told = data
        self._running, start, self._stop = run
        self._start = None if start is None else (start[0], start[1], start[2])
        flow, self._metered_m3 = metered
        self._flow = None if flow is None else (flow[0], flow[1])
        self.evidence_m3, limit = weighed
        self.limit_m3 = math.inf if limit is None else limit
        missing, self.losing = told
        self.missing = Unmetered(*missing)


def load_balances(
    plan: DepotPlan,
    sensors: dict[str, SensorTracker],
    levels: dict[str, LevelTracker],
    pumps: dict[str, PumpTracker],
) -> list[LoadBalance]:
    """One for each pump whose switch, meter and tank's level are known, and of all others that
    draw from that tank, whether they run."""
    return [
        LoadBalance(pump, level, sensors[meter.id])
        for pump in pumps.values()
        if (level := levels.get(pump.pump.draws_from)) is not None
        and (meter := plan.sensor_of(Measure.FLOW, pump.pump.id)) is not None
        and not pump.shared.unseen
    ]
