"""Shelter near freezing: by its limit, and by the minutes that are left to 0 degC."""

from dataclasses import dataclass

from brineward.alarms.condition import Verdict, blind
from brineward.plant.plan import SensorPlan
from brineward.plant.state import PlantState
from brineward.readings.instants import Instant

FORECAST_SECONDS = 75 * 60.0
"""A freeze nearer than this is told before the limit is reached."""

NEAR_K = 2.5
UNUSUAL_K = 0.5
"""The forecast speaks within `NEAR_K` of the limit, or this far under the lowest of the day before:
above both a thermostat has its usual swing."""


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
        value = track.value
        limit = self.limit_c + (self.deadband_k if standing else 0.0)
        seconds = self._seconds_to_zero(plant, value)
        soon = (
            seconds is not None and seconds < FORECAST_SECONDS and self._unusual(plant, now, value)
        )
        facts = {} if seconds is None else {"seconds_to_zero": round(seconds, 0)}
        return Verdict(value <= limit or soon, round(value, 2), self.limit_c, "degC", facts)

    def _unusual(self, plant: PlantState, now: Instant, value: float) -> bool:
        low = plant.shelter_low.before(now)
        return value < self.limit_c + NEAR_K or (low is not None and value < low - UNUSUAL_K)

    def _seconds_to_zero(self, plant: PlantState, value: float) -> float | None:
        course = plant.shelter
        if value <= 0:
            return 0.0
        # Cooling slows as the outdoors comes near, so a straight line errs on the early side.
        if course.slope is None or course.slope >= -3 * course.slope_uncertainty:
            return None
        return value / -course.slope
