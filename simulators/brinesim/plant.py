"""The plant: one depot's state, carried forward in time.

The explicit midpoint rule in steps of at most ten seconds, beginning again at every event. Mass is
conserved to rounding; the rule's own error is measured against scipy's solve_ivp in the tests.
"""

import math

from brinesim.brine import (
    SALT_HEAT_CAPACITY,
    SOLID_HEAT_CAPACITY,
    WATER_HEAT_CAPACITY,
    density_from_mass_fraction,
    freezing_from_mass_fraction,
    saturation_from_temperature,
)
from brinesim.depot import DepotPlan
from brinesim.equations import (
    HEAT_GIVEN,
    HOPPER_HEAT,
    HOPPER_SALT,
    HOPPER_SOLID,
    HOPPER_WATER,
    MAIN_HEAT,
    MAIN_SALT,
    MAIN_WATER,
    SHELTER_C,
    YARD_WATER,
    Controls,
    Equations,
    Found,
    Surroundings,
)
from brinesim.weather import Weather

STEP_SECONDS = 10.0
TRICKLE_M3_PER_S = 1e-5


def first_state(equations: Equations) -> list[float]:
    """The state that a plan's own first levels, strength and temperatures describe."""
    plan = equations.plan
    y = [0.0] * 20
    t = plan.brine_temperature_c
    main_kg = equations.main.volume_m3(plan.level_m) * density_from_mass_fraction(plan.strength, t)
    y[MAIN_SALT] = main_kg * plan.strength
    y[MAIN_WATER] = main_kg - y[MAIN_SALT]
    y[MAIN_HEAT] = t * (WATER_HEAT_CAPACITY * y[MAIN_WATER] + SALT_HEAT_CAPACITY * y[MAIN_SALT])
    y[HOPPER_SOLID] = plan.salt_bed_m * equations.hopper_area * plan.bed_bulk_density
    # The liquid stands at the weir: in the bed's voids, and over it where the bed is lower.
    below = min(plan.salt_bed_m, plan.weir_m)
    above = plan.weir_m - below
    liquid_m3 = equations.hopper_area * (plan.bed_void * below + above)
    w = saturation_from_temperature(t)
    liquid_kg = liquid_m3 * density_from_mass_fraction(w, t)
    y[HOPPER_SALT] = w * liquid_kg
    y[HOPPER_WATER] = liquid_kg - y[HOPPER_SALT]
    y[HOPPER_HEAT] = t * (
        WATER_HEAT_CAPACITY * y[HOPPER_WATER]
        + SALT_HEAT_CAPACITY * y[HOPPER_SALT]
        + SOLID_HEAT_CAPACITY * y[HOPPER_SOLID]
    )
    y[YARD_WATER] = equations.yard_free * plan.containment_level_m * 1000
    y[SHELTER_C] = plan.shelter_temperature_c
    return y


class Plant:
    """The state of one depot, and how it goes on."""

    def __init__(self, plan: DepotPlan, weather: Weather) -> None:
        """Starts at time 0, as the plan's own first values say."""
        self.plan = plan
        self.weather = weather
        self.equations = Equations(plan)
        self.controls = Controls(blend=plan.blend)
        self.time = 0.0
        self.heater_on = False
        self.casing_c = plan.brine_temperature_c
        self.line_c = plan.brine_temperature_c
        self.line_frozen = False
        self.probe_strength = plan.strength
        """Mass fraction low in the main tank, where the probe is and where people draw samples."""
        self.state = first_state(self.equations)

    @property
    def solid_kg_per_m(self) -> float:
        """Salt in a metre of bed, kg."""
        return self.equations.hopper_area * self.plan.bed_bulk_density

    def add_salt(self, kg: float) -> None:
        """Tip dry salt at the shelter's temperature into the hopper; below 0: take some out."""
        heat = kg * SOLID_HEAT_CAPACITY * self.state[SHELTER_C]
        self.state[HOPPER_SOLID] += kg
        self.state[HOPPER_HEAT] += heat
        self.state[HEAT_GIVEN] += heat

    def look(self) -> tuple[float, ...]:
        """A row of COLUMNS as everything is now, without moving on."""
        found = Found()
        self.equations.rates(self.state, self.controls, self._surroundings(), found)
        return self._row(found)

    def advance(self, until: float, rows: list[tuple[float, ...]]) -> None:
        """Go on to `until` seconds, adding a row for the start of every step."""
        rates, controls = self.equations.rates, self.controls
        while self.time < until - 1e-6:
            seconds = min(STEP_SECONDS, until - self.time)
            self._thermostat()
            around = self._surroundings()
            found = Found()
            y = self.state
            first = rates(y, controls, around, found)
            half = seconds / 2
            halfway = [a + half * b for a, b in zip(y, first, strict=True)]
            middle = rates(halfway, controls, around)
            self.state = [a + seconds * b for a, b in zip(y, middle, strict=True)]
            rows.append(self._row(found))
            self._small_bodies(seconds, found, around.outdoor_c)
            self.time += seconds

    def _row(self, found: Found) -> tuple[float, ...]:
        mains = float(self.controls.mains_ok)
        bodies = (self.casing_c, self.line_c, mains, self.probe_strength)
        # All that the float lets in, through the hopper and past it.
        water = self.equations.water_supply(found.row[0], self.controls) / 1000
        return (self.time, *found.row, *bodies, *self._shelter_row(), water)

    def _shelter_row(self) -> tuple[float, float, float]:
        """The heater's supply, its current in A, and whether the door is open at all."""
        supply = self.controls.heater_ok and self.controls.mains_ok
        current_a = self.plan.heater_a if self.heater_on else 0.0
        return float(supply), current_a, float(self.controls.door > 0.0)

    def _surroundings(self) -> Surroundings:
        return Surroundings(*self.weather.at(self.time), self.heater_on, self.line_frozen)

    def _thermostat(self) -> None:
        half = self.plan.thermostat_band_c / 2
        able = self.controls.heater_ok and self.controls.mains_ok
        shelter = self.state[SHELTER_C]
        if not able or shelter > self.plan.thermostat_c + half:
            self.heater_on = False
        elif shelter < self.plan.thermostat_c - half:
            self.heater_on = True

    def _mix(self, seconds: float, found: Found) -> None:
        """The brine low in the tank follows the whole tank's, sooner where something flows."""
        p = self.plan
        lag, whole = p.mixing_seconds, found.main_strength
        if whole < self.probe_strength:
            lag *= p.mixing_weak_factor
        if found.fill_m3_per_s < TRICKLE_M3_PER_S and not found.pump_m3_per_s:
            lag *= p.mixing_still_factor
        fade = math.exp(-seconds / lag)
        self.probe_strength = whole + (self.probe_strength - whole) * fade

    def _small_bodies(self, seconds: float, found: Found, outdoor_c: float) -> None:
        """Casing and outdoor line: too quick for the step, so solved exactly over it."""
        p = self.plan
        through = found.pump_heat_flow_w_per_k
        gain = p.casing_loss_w_per_k + through
        # With flow, the shaft's power leaves with the brine.
        stirring = found.shaft_w if found.turning and not found.pump_m3_per_s else 0.0
        source = stirring + p.casing_loss_w_per_k * self.state[SHELTER_C] + through * found.main_c
        settled = source / gain
        fade = math.exp(-gain * seconds / p.casing_heat_capacity_j_per_k)
        self.casing_c = settled + (self.casing_c - settled) * fade
        if found.pump_m3_per_s:
            self.line_c = found.main_c
            self.controls.line_strength = -1.0
        else:
            fade = math.exp(-seconds / p.line_heat_seconds)
            self.line_c = outdoor_c + (self.line_c - outdoor_c) * fade
        self._mix(seconds, found)
        left = self.controls.line_strength
        self.line_frozen = left >= 0 and self.line_c < freezing_from_mass_fraction(left)
