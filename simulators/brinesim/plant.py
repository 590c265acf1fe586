"""The plant: masses of water and salt, and heat, moving between hopper, tank, containment, shelter.

Integrated with the explicit midpoint rule in steps of at most ten seconds. Every flow is taken
from one vessel and given to another as the same number, so mass is conserved to rounding; the
rule's own error is measured against scipy's solve_ivp in the tests.
"""

import math
from dataclasses import dataclass, field

from brinesim.brine import (
    HEAT_OF_SOLUTION,
    SALT_HEAT_CAPACITY,
    SOLID_HEAT_CAPACITY,
    WATER_HEAT_CAPACITY,
    density_coefficients,
    freezing_from_mass_fraction,
    saturation_from_temperature,
    water_density,
)
from brinesim.depot import DepotPlan
from brinesim.vessels import Vessel
from brinesim.weather import Weather

STEP_SECONDS = 10.0
GRAVITY = 9.81

COLUMNS = (
    "time",
    "main_level",
    "main_strength",
    "main_temperature",
    "hopper_level",
    "salt_level",
    "hopper_strength",
    "hopper_temperature",
    "containment_level",
    "pump_turning",
    "pump_current",
    "pump_pressure",
    "hose_flow",
    "valve_open",
    "shelter_temperature",
    "outdoor_temperature",
    "outlet_power",
    "fill_flow",
    "casing_temperature",
    "line_temperature",
    "mains_power",
)
"""The names of a recorded row's values, in order: SI, degC, mass fractions, A, Pa."""

(
    HOPPER_WATER,
    HOPPER_SALT,
    HOPPER_SOLID,
    HOPPER_HEAT,
    MAIN_WATER,
    MAIN_SALT,
    MAIN_HEAT,
    YARD_WATER,
    YARD_SALT,
    SHELTER_C,
    SUPPLIED,
    RAINED,
    EVAPORATED,
    LOADED_WATER,
    LOADED_SALT,
    LOST_WATER,
    LOST_SALT,
    DISSOLVED_HEAT,
    HEAT_GIVEN,
    HEAT_TAKEN,
) = range(20)


@dataclass(slots=True)
class Controls:
    """What people, weather and faults set; constant between two events."""

    water_on: bool = True
    blend: float = 0.125
    float_fault: str = ""
    """`open` or `closed` while it is stuck."""
    float_wear_m: float = 0.0
    pump_on: bool = False
    valve_open: bool = False
    outlet_ok: bool = True
    mains_ok: bool = True
    heater_ok: bool = True
    door: float = 0.0
    hose_to: str = "truck"
    air_lock: bool = False
    leak_area_m2: float = 0.0
    """Orifice low in the main tank; what it lets out falls into the containment."""
    pipe_leak_m3_per_s: float = 0.0
    """Out of the suction pipe, outside the containment."""
    yard_inflow_m3_per_s: float = 0.0
    yard_drain_m3_per_s: float = 0.0
    main_drain_m3_per_s: float = 0.0
    line_strength: float = -1.0
    """Mass fraction left in the outdoor line, where it differs from the tank's; else -1."""


@dataclass(slots=True)
class Flows:
    """What one evaluation found, beside the derivatives."""

    row: tuple[float, ...] = field(default_factory=tuple)
    pump_m3_per_s: float = 0.0
    turning: bool = False
    main_temperature_c: float = 0.0
    main_heat_flow_w_per_k: float = 0.0
    shaft_w: float = 0.0


class Plant:
    """The state of one depot and its equations."""

    def __init__(self, plan: DepotPlan, weather: Weather) -> None:
        """Starts from the plan's own first levels, strength and temperatures at time 0."""
        self.plan = plan
        self.weather = weather
        self.controls = Controls(blend=plan.blend)
        self.time = 0.0
        self.heater_on = False
        self.casing_c = plan.brine_temperature_c
        self.line_c = plan.brine_temperature_c
        self.line_frozen = False
        self.main = Vessel(plan.main)
        self.hopper = Vessel(plan.hopper)
        self.yard = Vessel(plan.containment)
        self._hopper_area = math.pi * plan.hopper.diameter_m**2 / 4
        self._yard_area = self.yard.volume_m3(1.0)
        self._main_area = self.main.volume_m3(plan.main.brim_m) / plan.main.brim_m
        self._yard_free = self._yard_area - self._main_area - self._hopper_area
        self.state = self._first_state()

    def _first_state(self) -> list[float]:
        plan = self.plan
        y = [0.0] * 20
        t = plan.brine_temperature_c
        rho = self._density(plan.strength, t)
        main_kg = self.main.volume_m3(plan.level_m) * rho
        y[MAIN_SALT] = main_kg * plan.strength
        y[MAIN_WATER] = main_kg - y[MAIN_SALT]
        y[MAIN_HEAT] = t * (WATER_HEAT_CAPACITY * y[MAIN_WATER] + SALT_HEAT_CAPACITY * y[MAIN_SALT])
        y[HOPPER_SOLID] = plan.salt_bed_m * self._hopper_area * plan.bed_bulk_density
        solid = y[HOPPER_SOLID] / plan.salt_density
        w = saturation_from_temperature(t)
        liquid_kg = max(0.0, plan.weir_m * self._hopper_area - solid) * self._density(w, t)
        y[HOPPER_SALT] = w * liquid_kg
        y[HOPPER_WATER] = liquid_kg - y[HOPPER_SALT]
        y[HOPPER_HEAT] = t * (
            WATER_HEAT_CAPACITY * y[HOPPER_WATER]
            + SALT_HEAT_CAPACITY * y[HOPPER_SALT]
            + SOLID_HEAT_CAPACITY * y[HOPPER_SOLID]
        )
        y[YARD_WATER] = self._yard_free * plan.containment_level_m * 1000
        y[SHELTER_C] = plan.shelter_temperature_c
        return y

    @staticmethod
    def _density(w: float, t: float) -> float:
        a, b, c, d, e, f = density_coefficients()
        return water_density(t) + w * (a + t * (b + c * t) + w * (d + e * t + f * w))

    def _pump(self, level: float, density: float) -> tuple[float, float, float, bool, float]:
        """Flow, discharge pressure in Pa, current in A, turning, shaft power in W."""
        c, p = self.controls, self.plan
        static = density * GRAVITY * level
        turning = c.pump_on and c.outlet_ok and c.mains_ok
        if not turning:
            return 0.0, static, 0.0, False, 0.0
        if c.air_lock or level <= p.suction_m:
            return 0.0, 0.3 * static, p.dry_power_w * p.current_a_per_w * 1.7, True, p.dry_power_w
        flow = 0.0
        if c.valve_open and not self.line_frozen:
            lift = p.delivery_height_m if c.hose_to != "main" else p.main.brim_m
            head = p.pump_head_m + level - lift
            flow = math.sqrt(max(0.0, head) / (p.pump_curve_s2_per_m5 + p.hose_curve_s2_per_m5))
        power = p.shut_off_power_w + p.power_per_flow_w_s_per_m3 * flow
        pressure = static + density * GRAVITY * (
            p.pump_head_m - p.pump_curve_s2_per_m5 * flow * flow
        )
        return flow, pressure, power * p.current_a_per_w, True, power

    def _hopper_level(self, liquid_m3: float, solid_kg: float) -> tuple[float, float]:
        p = self.plan
        bed = solid_kg / (self._hopper_area * p.bed_bulk_density)
        void = p.bed_void * self._hopper_area
        if liquid_m3 <= void * bed:
            return liquid_m3 / void, bed
        return bed + (liquid_m3 - void * bed) / self._hopper_area, bed

    def derivatives(self, y: list[float], found: Flows | None = None) -> list[float]:
        """Rates of change of the state, per second, with the controls and weather as they stand."""
        p, c = self.plan, self.controls
        outdoor, wind, rain = self.outside
        # Main tank.
        water, salt = y[MAIN_WATER], y[MAIN_SALT]
        mass = water + salt
        heat_capacity = WATER_HEAT_CAPACITY * water + SALT_HEAT_CAPACITY * salt
        main_c = y[MAIN_HEAT] / heat_capacity
        w = salt / mass
        density = self._density(w, main_c)
        level = self.main.level_m(mass / density)
        # Hopper.
        h_water, h_salt, solid = y[HOPPER_WATER], y[HOPPER_SALT], y[HOPPER_SOLID]
        h_mass = h_water + h_salt
        h_capacity = (
            WATER_HEAT_CAPACITY * h_water
            + SALT_HEAT_CAPACITY * h_salt
            + SOLID_HEAT_CAPACITY * solid
        )
        hopper_c = y[HOPPER_HEAT] / h_capacity
        h_w = h_salt / h_mass
        h_density = self._density(h_w, hopper_c)
        h_level, bed = self._hopper_level(h_mass / h_density, solid)
        saturated = saturation_from_temperature(hopper_c)
        dissolving = p.dissolving_kg_per_s_per_m * min(bed, h_level) * (saturated - h_w)
        if dissolving < 0:
            dissolving = 0.0
        # Water in, past the float.
        opening = 0.0
        if c.water_on and c.float_fault != "closed":
            if c.float_fault == "open":
                opening = 1.0
            else:
                shut = p.fill_mark_m - p.float_shut_below_mark_m + c.float_wear_m
                opening = min(1.0, max(0.0, (shut - level) / p.float_band_m))
        supply = opening * p.water_flow_kg_per_s
        past = supply * c.blend
        into = supply - past
        head = h_level - p.weir_m
        over = p.weir_coefficient * head * math.sqrt(head) * h_density if head > 0 else 0.0
        over_salt = over * h_w
        over_heat = hopper_c * (
            WATER_HEAT_CAPACITY * (over - over_salt) + SALT_HEAT_CAPACITY * over_salt
        )
        # Out of the main tank.
        pumped, pressure, current, turning, shaft = self._pump(level, density)
        from_pump = 0.0 if c.hose_to == "main" else pumped * density
        spill = level - self.main.brim_m
        spilled = 8.0 * spill * math.sqrt(spill) * density if spill > 0 else 0.0
        leaked = 0.0
        if c.leak_area_m2 and level > 0:
            leaked = c.leak_area_m2 * math.sqrt(2 * GRAVITY * level) * density
        gone = (c.pipe_leak_m3_per_s + c.main_drain_m3_per_s) * density if level > 0.03 else 0.0
        out = from_pump + spilled + leaked + gone
        per_kg = main_c * heat_capacity / mass
        # Containment.
        y_water, y_salt = y[YARD_WATER], y[YARD_SALT]
        y_mass = y_water + y_salt
        y_level = y_mass / (self._density(y_salt / y_mass, 10.0) if y_mass > 0 else 1000.0)
        y_level /= self._yard_free
        drained = 0.0
        if y_level > 0.004:
            drained = c.yard_drain_m3_per_s * 1000
        flood = y_level - self.yard.brim_m
        if flood > 0:
            drained += 8000.0 * flood * math.sqrt(flood)
        drained_salt = drained * y_salt / y_mass if y_mass > 0 else 0.0
        drying = 0.0
        if outdoor > 0 and y_level > 0.001:
            drying = p.evaporation_kg_per_s_per_m2_per_k * outdoor * self._yard_free
        raining = rain * self._yard_area + c.yard_inflow_m3_per_s * 1000
        hopper_drying = p.evaporation_kg_per_s_per_m2_per_k * max(0.0, hopper_c) * 0.2
        # Shelter.
        shelter = y[SHELTER_C]
        from_main = p.main_to_shelter_w_per_k * (main_c - shelter)
        from_hopper = p.hopper_to_shelter_w_per_k * (hopper_c - shelter)
        loss = (
            p.shelter_loss_w_per_k * (1 + p.shelter_loss_per_wind * wind)
            + c.door * p.door_loss_w_per_k
        ) * (shelter - outdoor)
        heating = p.heater_w if self.heater_on else 0.0
        to_ground = from_pump if c.hose_to == "ground" else 0.0
        to_truck = from_pump - to_ground
        if found is not None:
            found.pump_m3_per_s, found.turning, found.shaft_w = pumped, turning, shaft
            found.main_temperature_c = main_c
            found.main_heat_flow_w_per_k = pumped * density * heat_capacity / mass
            found.row = (
                self.time,
                level,
                w,
                main_c,
                h_level,
                bed,
                h_w,
                hopper_c,
                y_level,
                1.0 if turning else 0.0,
                current,
                pressure,
                pumped,
                1.0 if c.valve_open else 0.0,
                shelter,
                outdoor,
                1.0 if c.outlet_ok and c.mains_ok else 0.0,
                over / h_density + past / 1000,
                self.casing_c,
                self.line_c,
                1.0 if c.mains_ok else 0.0,
            )
        return [
            into - over + over_salt - hopper_drying,
            dissolving - over_salt,
            -dissolving,
            into * WATER_HEAT_CAPACITY * p.water_temperature_c
            - over_heat
            - dissolving * HEAT_OF_SOLUTION
            - from_hopper
            - hopper_drying * WATER_HEAT_CAPACITY * hopper_c,
            past + over - over_salt - out * (1 - w),
            over_salt - out * w,
            past * WATER_HEAT_CAPACITY * p.water_temperature_c
            + over_heat
            - out * per_kg
            - from_main,
            raining + (spilled + leaked) * (1 - w) - drained + drained_salt - drying,
            (spilled + leaked) * w - drained_salt,
            (heating + from_main + from_hopper - loss) / p.shelter_heat_capacity_j_per_k,
            supply,
            raining,
            drying + hopper_drying,
            to_truck * (1 - w),
            to_truck * w,
            (to_ground + gone) * (1 - w) + drained - drained_salt,
            (to_ground + gone) * w + drained_salt,
            dissolving * HEAT_OF_SOLUTION,
            supply * WATER_HEAT_CAPACITY * p.water_temperature_c + heating,
            out * per_kg + loss + hopper_drying * WATER_HEAT_CAPACITY * hopper_c,
        ]

    def _thermostat(self) -> None:
        half = self.plan.thermostat_band_c / 2
        able = self.controls.heater_ok and self.controls.mains_ok
        shelter = self.state[SHELTER_C]
        if not able or shelter > self.plan.thermostat_c + half:
            self.heater_on = False
        elif shelter < self.plan.thermostat_c - half:
            self.heater_on = True

    def _small_bodies(self, seconds: float, found: Flows) -> None:
        """Casing and outdoor line: too quick for the step, so solved exactly over it."""
        p = self.plan
        gain = p.casing_loss_w_per_k + found.main_heat_flow_w_per_k
        source = (found.shaft_w if found.turning and not found.pump_m3_per_s else 0.0) + (
            p.casing_loss_w_per_k * self.state[SHELTER_C]
            + found.main_heat_flow_w_per_k * found.main_temperature_c
        )
        settled = source / gain
        fade = math.exp(-gain * seconds / p.casing_heat_capacity_j_per_k)
        self.casing_c = settled + (self.casing_c - settled) * fade
        if found.pump_m3_per_s:
            self.line_c = found.main_temperature_c
            self.controls.line_strength = -1.0
        else:
            outdoor = self.outside[0]
            self.line_c = outdoor + (self.line_c - outdoor) * math.exp(
                -seconds / p.line_heat_seconds
            )
        if self.controls.line_strength >= 0:
            self.line_frozen = self.line_c < freezing_from_mass_fraction(
                self.controls.line_strength
            )
        else:
            self.line_frozen = False

    @property
    def outside(self) -> tuple[float, float, float]:
        """Outdoor temperature in degC, wind in m/s and rain in kg/(s m2) now."""
        return self.weather.now

    @property
    def solid_kg_per_m(self) -> float:
        """Salt in a metre of bed, kg."""
        return self._hopper_area * self.plan.bed_bulk_density

    def add_salt(self, kg: float) -> None:
        """Tip dry salt into the hopper (or take some out, below 0), at the shelter's temperature."""
        temperature = self.state[SHELTER_C]
        self.state[HOPPER_SOLID] += kg
        self.state[HOPPER_HEAT] += kg * SOLID_HEAT_CAPACITY * temperature
        self.state[HEAT_GIVEN] += kg * SOLID_HEAT_CAPACITY * temperature

    def look(self) -> Flows:
        """Evaluate now without moving: what a recorder would write."""
        self.weather.set_time(self.time)
        found = Flows()
        self.derivatives(self.state, found)
        return found

    def advance(self, until: float, rows: list[tuple[float, ...]]) -> None:
        """Go on to `until` seconds, adding a row for the start of every step."""
        while self.time < until - 1e-6:
            seconds = min(STEP_SECONDS, until - self.time)
            self.weather.set_time(self.time)
            self._thermostat()
            found = Flows()
            y = self.state
            first = self.derivatives(y, found)
            half = seconds / 2
            middle = self.derivatives([a + half * b for a, b in zip(y, first, strict=True)])
            self.state = [a + seconds * b for a, b in zip(y, middle, strict=True)]
            rows.append(found.row)
            self._small_bodies(seconds, found)
            self.time += seconds
