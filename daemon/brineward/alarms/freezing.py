"""Shelter near freezing: by its limit, and by the minutes that are left to 0 degC."""

import math
from dataclasses import dataclass

from brineward.alarms.condition import Verdict, blind
from brineward.plant.plan import SensorPlan
from brineward.plant.resting_fall import seconds_to_zero
from brineward.plant.state import SHELTER_SPAN_SECONDS, PlantState
from brineward.plant.tracks import Course
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


AS_USUAL = (0.7, 2.2)
"""Between these shares of its usual fall while the heater rests, a fall is that of a heater that
rests. A thermometer's lag hides up to a half of a short rest's fall (measured with the simulator).
"""

RESTS_SPAN_SECONDS = 660.0
RESTS_FORECAST_SECONDS = 120 * 60.0
"""A heater that rests on under where it has always come on has failed, if that is so in the median
of this span and through the delay after it: told far from the limit too, where the freeze is nearer
than this. A door half open may cool the shed just as fast, so it takes longer than a truck's ten
minutes (40 such doors at sizes from a fifth to wide open, simulated: none is told).
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
        middle = plant.shelter.middle(LIMIT_SPAN_SECONDS)[0]
        limit = self.limit_c + (self.deadband_k if standing else 0.0)
        straight = _straight_fall(plant.shelter)
        soon = straight is not None and self._unusual(plant, now, value, straight)
        resting = _fall_of_a_resting_heater(plant, now)
        # Of two falls the faster: a quarter of an hour may still hold some of the time before it.
        fall, left = max(straight or 0.0, resting or 0.0), 0.0 if value <= 0.0 else None
        if fall:
            left = seconds_to_zero(value, fall, plant.outdoors_c(now))
        failed = resting is not None and left is not None and left < RESTS_FORECAST_SECONDS
        facts = {} if left is None else {"seconds_to_zero": round(left, 0)}
        active = max(value, middle) <= limit or soon or failed
        return Verdict(active, round(value, 2), self.limit_c, "degC", facts)

    def _unusual(self, plant: PlantState, now: Instant, value: float, fall: float) -> bool:
        """Near freezing by a straight line, and not by a thermostat's swing?"""
        # Cooling slows as the outdoors comes near, so a straight line errs on the early side.
        seconds = max(0.0, value) / fall
        low = plant.shelter_low.before(now)
        if low is None:
            return seconds < FORECAST_SECONDS and value < self.limit_c + NEAR_UNKNOWN_K
        near = value < self.limit_c + NEAR_K
        if not near and plant.shelter_fall.usual(now) is not None:
            return False  # so high up only a heater that rests on is told, and a door is not
        within = FORECAST_SECONDS if near else FAST_SECONDS
        return seconds < within and value < low - UNUSUAL_K


def _straight_fall(course: Course) -> float | None:
    """The fall in K/s where it is one for sure, and straight; else None."""
    if course.slope is None or course.slope >= -SURE * course.slope_uncertainty:
        return None
    if course.scatter > BENT * math.sqrt(course.noise.variance):
        return None
    return -course.slope


def _fall_of_a_resting_heater(plant: PlantState, now: Instant) -> float | None:
    """The fall in K/s, where the heater rests on though it has always come on by here."""
    low = plant.shelter_low.before(now)
    if low is None or plant.shelter.middle(RESTS_SPAN_SECONDS)[0] >= low - UNUSUAL_K:
        return None
    fall, usual = plant.shelter_fall.now, plant.shelter_fall.usual(now)
    if fall is None or usual is None:
        return None
    return fall if AS_USUAL[0] <= fall / usual <= AS_USUAL[1] else None
