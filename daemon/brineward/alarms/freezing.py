"""Shelter near freezing: by its limit, and by the minutes that are left to 0 degC."""

import math
from dataclasses import dataclass

from brineward.alarms.condition import Verdict, blind
from brineward.plant.plan import SensorPlan
from brineward.plant.state import SHELTER_SPAN_SECONDS, PlantState
from brineward.readings.instants import Instant

FORECAST_SECONDS = 75 * 60.0
"""A freeze nearer than this is told before the limit is reached."""

LIMIT_SPAN_SECONDS = 600.0
"""At its limit is what is so in the median of ten minutes too: a door opened for a truck lets the
air dip for as long."""

UNUSUAL_K = 0.3
NEAR_K = 2.5
FAST_SECONDS = 45 * 60.0
NEAR_UNKNOWN_K = 1.0
"""The forecast speaks so far under the lowest of the week, since above that a thermostat has its
usual swing, and within `NEAR_K` of the limit; higher up only of a freeze nearer than
`FAST_SECONDS`, since a heater that idled for a week may yet come on. While no low is known it
speaks within `NEAR_UNKNOWN_K` of the limit.
"""

SURE = 6.0
BENT = 1.5
"""A fall counts where it is so many times its standard uncertainty, and a straight one: its values
scatter about it no more than so many times as much as their own noise.

A heater that failed gives a quarter of an hour's straight fall; a door opened for ten minutes a
bend.
"""


@dataclass(frozen=True, slots=True, kw_only=True)
class ShelterFreezing:
    """The shelter is at its limit, or falls so that it will be at 0 degC within the forecast."""

    alarm: str
    source: str
    thermometer: SensorPlan
    limit_c: float
    deadband_k: float

    @property
    def watches(self) -> tuple[str, ...]:
        """Judged anew after each shelter temperature."""
        return (self.thermometer.id,)

    def judge(self, plant: PlantState, now: Instant, standing: bool) -> Verdict:
        """At or under the limit, or soon at 0 degC?"""
        track = plant.tracks[self.thermometer.id]
        if track.value is None:
            return blind("no shelter temperature yet")
        if track.implausible:
            return blind(f"{self.thermometer.id} is not believable")
        value = plant.shelter.middle(SHELTER_SPAN_SECONDS)[0]
        limit = self.limit_c + (self.deadband_k if standing else 0.0)
        seconds = self._seconds_to_zero(plant, value)
        soon = seconds is not None and self._unusual(plant, now, value, seconds)
        facts = {} if seconds is None else {"seconds_to_zero": round(seconds, 0)}
        cold = max(value, plant.shelter.middle(LIMIT_SPAN_SECONDS)[0]) <= limit
        return Verdict(cold or soon, round(value, 2), self.limit_c, "degC", facts)

    def _unusual(self, plant: PlantState, now: Instant, value: float, seconds: float) -> bool:
        """Near freezing by the forecast, and not by a thermostat's swing?"""
        low = plant.shelter_low.before(now)
        if low is None:
            return seconds < FORECAST_SECONDS and value < self.limit_c + NEAR_UNKNOWN_K
        near = value < self.limit_c + NEAR_K
        within = FORECAST_SECONDS if near else FAST_SECONDS
        return seconds < within and value < low - UNUSUAL_K

    def _seconds_to_zero(self, plant: PlantState, value: float) -> float | None:
        course = plant.shelter
        if value <= 0:
            return 0.0
        # Cooling slows as the outdoors comes near, so a straight line errs on the early side.
        if course.slope is None or course.slope >= -SURE * course.slope_uncertainty:
            return None
        if course.scatter > BENT * math.sqrt(course.noise.variance):
            return None
        return value / -course.slope
