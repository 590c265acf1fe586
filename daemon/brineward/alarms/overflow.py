"""Tank nearing overflow: by its height, and by the minutes that are left to the brim."""

import math
from dataclasses import dataclass

from brineward.alarms.condition import Verdict, blind
from brineward.plant.level_state import LevelState
from brineward.plant.plan import SensorPlan, Vessel
from brineward.plant.state import PlantState
from brineward.readings.instants import Instant

FORECAST_SECONDS = 300.0
"""An overflow nearer than this is told even before the height says so."""

SPAN_SECONDS = 60.0
"""The height is the median of so many seconds' readings: a wave or a wild reading is no height."""

CONFIDENCE = 4.5
"""By how many standard uncertainties of that median the limit must be passed.

A tank may stand for days right where a healthy float leaves it. With a new median a minute, 4.5
is a false alarm in two hundred days of that.
"""

MEDIAN_LOSS = 1.2533
"""The median of normal readings is this much less certain than their mean (sqrt(pi / 2))."""

FASTER = 1.5
"""A level that rises this many times as fast as the fill can is filled by something else."""


@dataclass(frozen=True, slots=True, kw_only=True)
class OverflowAhead:
    """The level is above what a healthy float allows, or will be at the brim within minutes.

    The float's run-on after the fill mark is allowed for: the height limit is the mark plus the
    run-on, or a set limit. Below the mark a rising level is a fill; between the mark and the limit
    the forecast counts only where the level rises faster than the fill can make it, since the
    float stops no pump.
    """

    alarm: str
    source: str
    vessel: Vessel
    level: SensorPlan
    limit_m: float
    deadband_m: float

    @property
    def watches(self) -> tuple[str, ...]:
        """Judged anew after each level."""
        return (self.level.id,)

    def judge(self, plant: PlantState, now: Instant, standing: bool) -> Verdict:
        """Too high, or too soon at the brim?"""
        track = plant.tracks[self.level.id]
        if track.value is None:
            return blind("no level yet")
        if track.implausible:
            return blind(f"{self.level.id} is not believable")
        state = plant.levels[self.source]
        level, sure = self._middle(state, SPAN_SECONDS)
        high = level > self.limit_m - self.deadband_m if standing else level > self.limit_m + sure
        # While it rises the median lags; the forecast starts from the line's end.
        end = level if state.course.slope is None else state.course.level or level
        seconds = self._seconds_to_brim(plant, end)
        soon = seconds is not None and seconds < FORECAST_SECONDS and self._unusual(state)
        facts = {} if seconds is None else {"seconds_to_brim": round(seconds, 0)}
        return Verdict(high or soon, round(level, 4), round(self.limit_m, 4), "m", facts)

    def _middle(self, state: LevelState, span_seconds: float) -> tuple[float, float]:
        """The median of the span, of three readings at least, and how far it may be off."""
        level, readings = state.course.middle(span_seconds)
        return level, CONFIDENCE * MEDIAN_LOSS * math.sqrt(state.course.noise.variance / readings)

    def _unusual(self, state: LevelState) -> bool:
        """Is it no healthy fill that rises?"""
        mark = self.vessel.fill_mark_m
        if mark is None:
            return True
        level, sure = self._middle(state, 0.0)
        if level <= mark + sure:
            return False
        course, fill = state.course, state.fill_m_per_s
        if fill is None or course.slope is None:
            return True
        return course.slope - 3 * course.slope_uncertainty > FASTER * fill

    def _seconds_to_brim(self, plant: PlantState, level: float) -> float | None:
        course = plant.levels[self.source].course
        slope = course.slope
        if slope is None or slope <= 2 * course.slope_uncertainty:
            return None
        shape = self.vessel.shape
        room = shape.volume_m3(self.vessel.brim_m) - shape.volume_m3(level)
        inflow = slope * shape.area_m2(level)
        return max(0.0, room / inflow) if inflow > 0 else None


def height_limit_m(vessel: Vessel) -> float:
    """The height above which a healthy float would not have let it come, in m.

    Where nothing fills the vessel by itself: five centimetres under its brim.
    """
    if vessel.fill_mark_m is None:
        return vessel.brim_m - 0.05
    return min(vessel.fill_mark_m + vessel.run_on_m, vessel.brim_m - 0.02)
