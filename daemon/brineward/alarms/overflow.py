"""Tank nearing overflow: by its height, and by the minutes that are left to the brim."""

from dataclasses import dataclass

from brineward.alarms.condition import Verdict, blind
from brineward.plant.plan import SensorPlan, Vessel
from brineward.plant.state import PlantState
from brineward.readings.instants import Instant

FORECAST_SECONDS = 300.0
"""An overflow nearer than this is told even before the height says so."""


@dataclass(frozen=True, slots=True, kw_only=True)
class OverflowAhead:
    """The level is above what a healthy float allows, or will be at the brim within minutes.

    The float's run-on after the fill mark is allowed for: the height limit is the mark plus the
    run-on plus two standard uncertainties of the sensor, or a set limit.
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
        course = plant.levels[self.source].course
        # The line's end is steadier than one reading of a sloshing surface.
        level = track.value if course.level is None else course.level
        limit = self.limit_m - (self.deadband_m if standing else 0.0)
        seconds = self._seconds_to_brim(plant, level)
        high = level > limit
        # Below the mark a rising level is a fill; only above it has the float had its say.
        mark = self.vessel.fill_mark_m
        soon = (
            seconds is not None
            and seconds < FORECAST_SECONDS
            and (mark is None or level > mark + 2 * self.level.standard_uncertainty)
        )
        facts = {} if seconds is None else {"seconds_to_brim": round(seconds, 0)}
        return Verdict(high or soon, round(level, 4), round(self.limit_m, 4), "m", facts)

    def _seconds_to_brim(self, plant: PlantState, level: float) -> float | None:
        course = plant.levels[self.source].course
        slope = course.slope
        if slope is None or slope <= 2 * course.slope_uncertainty:
            return None
        shape = self.vessel.shape
        room = shape.volume_m3(self.vessel.brim_m) - shape.volume_m3(level)
        inflow = slope * shape.area_m2(level)
        return max(0.0, room / inflow) if inflow > 0 else None


def height_limit_m(vessel: Vessel, level: SensorPlan) -> float:
    """The height above which a healthy float would not have let it come, in m.

    Where nothing fills the vessel by itself: five centimetres under its brim.
    """
    if vessel.fill_mark_m is None:
        return vessel.brim_m - 0.05
    top = vessel.fill_mark_m + vessel.run_on_m + 2 * level.standard_uncertainty
    return min(top, vessel.brim_m - 0.01)
