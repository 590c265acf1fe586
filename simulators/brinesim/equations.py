"""The plant's equations: rates of change of every mass and heat from the state as it is.

Every flow is taken from one vessel and given to another as the same number.
"""

import math
from dataclasses import dataclass, field
from typing import ClassVar, Literal, NamedTuple

from pydantic import ConfigDict

from brinesim.brine import (
    HEAT_OF_SOLUTION,
    SALT_HEAT_CAPACITY,
    SOLID_HEAT_CAPACITY,
    WATER_HEAT_CAPACITY,
    density_from_mass_fraction,
    saturation_from_temperature,
)
from brinesim.depot import DepotPlan
from brinesim.parts import NotNegative, Share
from brinesim.vessels import Vessel

GRAVITY = 9.81
SPILLS_SECONDS = 20.0
"""Twice the step of the rule that carries the plant forward: shorter, and it overshoots."""
LEFT_M = 0.03
"""So much is left in a vessel by its leaks and drains, which are that high over its floor (our
guess)."""
CRUSTS_AT = 0.01
"""Brine in the hopper that has dried so far beyond saturation, as a mass fraction, is under a crust
(our guess); only what was left after draining gets there, over weeks."""

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
    "probe_strength",
    "heater_power",
    "heater_current",
    "door_open",
    "water_flow",
)
"""The names of a recorded row's values, in order: SI, degC, mass fractions, A, Pa."""

CONDUCTIVITY = "conductivity"
"""One more, worked out of a whole table of rows: mS/cm, as an ideal probe sees it."""

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
    DRIED,
    LOADED_WATER,
    LOADED_SALT,
    LOST_WATER,
    LOST_SALT,
    HEAT_OF_DISSOLVING,
    HEAT_GIVEN,
    HEAT_TAKEN,
) = range(20)
"""Places in the state: kg, J and degC of the vessels, then what has crossed the fence so far."""


@dataclass(slots=True)
class Controls:
    """What people and faults set; constant between two events."""

    __pydantic_config__: ClassVar[ConfigDict] = ConfigDict(extra="forbid", allow_inf_nan=False)
    """A scenario may set these too, and nothing else."""
    water_on: bool = True
    blend: Share = 0.125
    float_fault: Literal["", "open", "closed"] = ""
    """`open` or `closed` while it is stuck."""
    float_wear_m: float = 0.0
    pump_on: bool = False
    valve_open: bool = False
    outlet_ok: bool = True
    mains_ok: bool = True
    heater_ok: bool = True
    door: Share = 0.0
    hose_to: Literal["truck", "ground", "main"] = "truck"
    air_lock: bool = False
    weir_blocked: bool = False
    """Salt has crusted over the hopper's way into the main tank."""
    leak_area_m2: NotNegative = 0.0
    """Orifice low in the main tank; what it lets out falls into the containment."""
    pipe_leak_m3_per_s: NotNegative = 0.0
    """Out of the suction pipe, outside the containment."""
    line_leak_share: Share = 0.0
    """Of what the pump takes: lost into the ground before the meter in the hose."""
    yard_inflow_m3_per_s: NotNegative = 0.0
    yard_drain_m3_per_s: NotNegative = 0.0
    main_drain_m3_per_s: NotNegative = 0.0
    hopper_drain_m3_per_s: NotNegative = 0.0
    line_strength: float = -1.0
    """Mass fraction left in the outdoor line, where it differs from the tank's; else -1."""


class Surroundings(NamedTuple):
    """What the plant stands in now: the weather, and what its thermostat and frost have done."""

    outdoor_c: float
    wind_m_per_s: float
    rain_kg_per_s_m2: float
    heater_on: bool
    line_frozen: bool


@dataclass(slots=True)
class Found:
    """What one evaluation found, beside the rates."""

    row: tuple[float, ...] = field(default_factory=tuple)
    """The values of COLUMNS from `main_level` to `fill_flow`."""
    pump_m3_per_s: float = 0.0
    turning: bool = False
    shaft_w: float = 0.0
    main_c: float = 0.0
    main_strength: float = 0.0
    fill_m3_per_s: float = 0.0
    pump_heat_flow_w_per_k: float = 0.0


class _Pumping(NamedTuple):
    flow_m3_per_s: float
    pressure_pa: float
    current_a: float
    turning: bool
    shaft_w: float


class _Liquid(NamedTuple):
    temperature_c: float
    strength: float
    density: float
    level_m: float
    heat_per_kg_k: float


class Equations:
    """One depot's equations, with its tanks' geometry worked out once."""

    def __init__(self, plan: DepotPlan) -> None:
        """Takes every size from the plan."""
        self.plan = plan
        self.main = Vessel(plan.main)
        self.yard = Vessel(plan.containment)
        self.hopper_area = math.pi * plan.hopper.diameter_m**2 / 4
        self.yard_area = self.yard.volume_m3(1.0)
        foot = self.main.volume_m3(plan.main.brim_m) / plan.main.brim_m
        self.main_area = foot
        self.yard_free = self.yard_area - foot - self.hopper_area
        """Where rain and leaks can stand: the containment's floor less the two tanks on it."""

    def pump(
        self, level_m: float, density: float, controls: Controls, line_frozen: bool
    ) -> _Pumping:
        """The pump's curve H = H0 - a Q2 met by the hose's H = lift + k Q2, or a standing pump."""
        p, c = self.plan, controls
        static = density * GRAVITY * level_m
        if not (c.pump_on and c.outlet_ok and c.mains_ok):
            return _Pumping(0.0, static, 0.0, False, 0.0)
        # Near its suction it draws air with the brine, less and less of it brine.
        wet = min(1.0, max(0.0, (level_m - p.suction_m) / p.vortex_m))
        if c.air_lock:
            wet = 0.0
        flow = 0.0
        if c.valve_open and not line_frozen:
            lift = p.main.brim_m if c.hose_to == "main" else p.delivery_height_m
            head = max(0.0, p.pump_head_m + level_m - lift)
            flow = math.sqrt(head / (p.pump_curve_s2_per_m5 + p.hose_curve_s2_per_m5))
        shaft = p.shut_off_power_w + p.power_per_flow_w_s_per_m3 * flow
        head = p.pump_head_m - p.pump_curve_s2_per_m5 * flow * flow
        pressure = static * (0.3 + 0.7 * wet) + wet * density * GRAVITY * head
        current = wet * shaft + (1 - wet) * p.dry_power_w * p.dry_current_factor
        shaft = wet * shaft + (1 - wet) * p.dry_power_w
        return _Pumping(wet * flow, pressure, current * p.current_a_per_w, True, shaft)

    def hopper_level(self, liquid_m3: float, solid_kg: float) -> tuple[float, float]:
        """The levels in m of the liquid and of the bed of salt that it stands in."""
        p = self.plan
        bed = solid_kg / (self.hopper_area * p.bed_bulk_density)
        void = p.bed_void * self.hopper_area
        if liquid_m3 <= void * bed:
            return liquid_m3 / void, bed
        return bed + (liquid_m3 - void * bed) / self.hopper_area, bed

    def main_liquid(self, y: list[float]) -> _Liquid:
        """What stands in the main tank."""
        mass = y[MAIN_WATER] + y[MAIN_SALT]
        capacity = WATER_HEAT_CAPACITY * y[MAIN_WATER] + SALT_HEAT_CAPACITY * y[MAIN_SALT]
        temperature = y[MAIN_HEAT] / capacity
        strength = y[MAIN_SALT] / mass
        density = density_from_mass_fraction(strength, temperature)
        return _Liquid(
            temperature, strength, density, self.main.level_m(mass / density), capacity / mass
        )

    def water_supply(self, level_m: float, c: Controls) -> float:
        """Water in kg/s that the float lets in at a level."""
        p = self.plan
        if not c.water_on or c.float_fault == "closed":
            return 0.0
        if c.float_fault == "open":
            return p.water_flow_kg_per_s
        shut = p.fill_mark_m - p.float_shut_below_mark_m + c.float_wear_m
        return min(1.0, max(0.0, (shut - level_m) / p.float_band_m)) * p.water_flow_kg_per_s

    def _leaving_main(self, main: _Liquid, c: Controls) -> tuple[float, float]:
        """In kg/s: what falls into the containment, and what goes beyond the fence."""
        fallen = self._spilled(main.level_m - self.main.brim_m, self.main_area)
        if main.level_m > LEFT_M:
            fallen += c.leak_area_m2 * math.sqrt(2 * GRAVITY * main.level_m)
        gone = c.pipe_leak_m3_per_s + c.main_drain_m3_per_s if main.level_m > LEFT_M else 0.0
        return fallen * main.density, gone * main.density

    def _spilled(self, head_m: float, area_m2: float) -> float:
        """What runs over a brim in m3/s, of a vessel of so wide a surface.

        No more than leaves in `SPILLS_SECONDS` what stands over it: a narrow vessel would else be
        emptied below its brim within one step.
        """
        if head_m <= 0:
            return 0.0
        weir = self.plan.spill_coefficient * head_m * math.sqrt(head_m)
        return min(weir, head_m * area_m2 / SPILLS_SECONDS)

    def _over_hopper_brim(
        self, level_m: float, density: float, strength: float, temperature_c: float
    ) -> tuple[float, float, float]:
        """What the hopper spills into the containment, kg/s; the salt and the heat in it."""
        head = level_m - self.plan.hopper.brim_m
        if head <= 0:
            return 0.0, 0.0, 0.0
        spill = self._spilled(head, self.hopper_area) * density
        salt = spill * strength
        capacity = WATER_HEAT_CAPACITY * (spill - salt) + SALT_HEAT_CAPACITY * salt
        return spill, salt, temperature_c * capacity

    def yard_level(self, y: list[float]) -> float:
        """Level in m in the containment; its liquid is taken to be at 10 degC."""
        mass = y[YARD_WATER] + y[YARD_SALT]
        if mass <= 0:
            return 0.0
        return mass / density_from_mass_fraction(y[YARD_SALT] / mass, 10.0) / self.yard_free

    def _yard(
        self, y: list[float], c: Controls, around: Surroundings
    ) -> tuple[float, float, float, float, float]:
        """Level; rain, drying, drained in kg/s; and the salt in what is drained."""
        level = self.yard_level(y)
        mass = y[YARD_WATER] + y[YARD_SALT]
        drained = c.yard_drain_m3_per_s * 1000 if level > 0.004 else 0.0
        drained += 1000 * self._spilled(level - self.yard.brim_m, self.yard_free)
        drying = 0.0
        if around.outdoor_c > 0 and level > 0.001:
            rate = self.plan.evaporation_kg_per_s_per_m2_per_k
            drying = rate * around.outdoor_c * self.yard_free
        rain = around.rain_kg_per_s_m2 * self.yard_area + c.yard_inflow_m3_per_s * 1000
        salt = drained * y[YARD_SALT] / mass if mass > 0 else 0.0
        return level, rain, drying, drained, salt

    def _let_out(
        self, c: Controls, level_m: float, density: float, strength: float, temperature_c: float
    ) -> tuple[float, float, float]:
        """What the hopper's drain lets out, kg/s: the water and the salt; and the heat in them."""
        let_out = c.hopper_drain_m3_per_s * density if level_m > LEFT_M else 0.0
        salt = let_out * strength
        water = let_out - salt
        capacity = WATER_HEAT_CAPACITY * water + SALT_HEAT_CAPACITY * salt
        return water, salt, temperature_c * capacity

    def rates(
        self, y: list[float], c: Controls, around: Surroundings, found: Found | None = None
    ) -> list[float]:
        """Rates of change of the state, per second."""
        p = self.plan
        main = self.main_liquid(y)
        # Hopper: dissolving, and over its weir into the main tank.
        capacity = (
            WATER_HEAT_CAPACITY * y[HOPPER_WATER]
            + SALT_HEAT_CAPACITY * y[HOPPER_SALT]
            + SOLID_HEAT_CAPACITY * y[HOPPER_SOLID]
        )
        hopper_c = y[HOPPER_HEAT] / capacity
        mass = y[HOPPER_WATER] + y[HOPPER_SALT]
        hopper_w = y[HOPPER_SALT] / mass
        density = density_from_mass_fraction(hopper_w, hopper_c)
        level, bed = self.hopper_level(mass / density, y[HOPPER_SOLID])
        wanting = saturation_from_temperature(hopper_c) - hopper_w
        dissolving = max(0.0, p.dissolving_kg_per_s_per_m * min(bed, level) * wanting)
        head = 0.0 if c.weir_blocked else max(0.0, level - p.weir_m)
        over = p.weir_coefficient * head * math.sqrt(head) * density
        spill, spill_salt, spill_heat = self._over_hopper_brim(level, density, hopper_w, hopper_c)
        over_salt = over * hopper_w
        over_water = over - over_salt
        over_heat = hopper_c * (WATER_HEAT_CAPACITY * over_water + SALT_HEAT_CAPACITY * over_salt)
        let_out_water, let_out_salt, let_out_heat = self._let_out(
            c, level, density, hopper_w, hopper_c
        )
        # What has dried to a crust lets nothing more out.
        open_m2 = p.hopper_open_m2 if wanting > -CRUSTS_AT else 0.0
        hopper_drying = p.evaporation_kg_per_s_per_m2_per_k * max(0.0, hopper_c) * open_m2
        # Water in, past the float: part through the hopper, part straight to the tank.
        supply = self.water_supply(main.level_m, c)
        past = supply * c.blend
        into = supply - past
        # Out of the main tank.
        pumping = self.pump(main.level_m, main.density, c, around.line_frozen)
        moved = pumping.flow_m3_per_s * main.density
        leaked = c.line_leak_share * moved
        pumped = 0.0 if c.hose_to == "main" else moved - leaked
        fallen, gone = self._leaving_main(main, c)
        gone += leaked
        out = pumped + fallen + gone
        out_heat = out * main.temperature_c * main.heat_per_kg_k
        w, fresh = main.strength, 1 - main.strength
        if c.hose_to == "ground":
            gone, pumped = gone + pumped, 0.0
        yard_level, rain, drying, drained, drained_salt = self._yard(y, c, around)
        # Shelter.
        shelter = y[SHELTER_C]
        from_main = p.main_to_shelter_w_per_k * (main.temperature_c - shelter)
        from_hopper = p.hopper_to_shelter_w_per_k * (hopper_c - shelter)
        wind = 1 + p.shelter_loss_per_wind * around.wind_m_per_s
        leakiness = p.shelter_loss_w_per_k * wind + c.door * p.door_loss_w_per_k
        loss = leakiness * (shelter - around.outdoor_c)
        heating = p.heater_w if around.heater_on else 0.0
        supply_heat = WATER_HEAT_CAPACITY * p.water_temperature_c
        drying_heat = hopper_drying * WATER_HEAT_CAPACITY * hopper_c
        if found is not None:
            found.pump_m3_per_s, found.turning = pumping.flow_m3_per_s, pumping.turning
            found.shaft_w, found.main_c = pumping.shaft_w, main.temperature_c
            found.main_strength, found.fill_m3_per_s = w, over / density + past / 1000
            found.pump_heat_flow_w_per_k = pumping.flow_m3_per_s * main.density * main.heat_per_kg_k
            found.row = (
                main.level_m,
                w,
                main.temperature_c,
                level,
                bed,
                hopper_w,
                hopper_c,
                yard_level,
                float(pumping.turning),
                pumping.current_a,
                pumping.pressure_pa,
                pumping.flow_m3_per_s * (1 - c.line_leak_share),
                float(c.valve_open),
                shelter,
                around.outdoor_c,
                float(c.outlet_ok and c.mains_ok),
                found.fill_m3_per_s,
            )
        return [
            into - over_water - hopper_drying - let_out_water - (spill - spill_salt),
            dissolving - over_salt - let_out_salt - spill_salt,
            -dissolving,
            into * supply_heat
            - over_heat
            - let_out_heat
            - dissolving * HEAT_OF_SOLUTION
            - from_hopper
            - drying_heat
            - spill_heat,
            past + over_water - out * fresh,
            over_salt - out * w,
            past * supply_heat + over_heat - out_heat - from_main,
            rain + fallen * fresh + spill - spill_salt - drained + drained_salt - drying,
            fallen * w + spill_salt - drained_salt,
            (heating + from_main + from_hopper - loss) / p.shelter_heat_capacity_j_per_k,
            supply,
            rain,
            drying + hopper_drying,
            pumped * fresh,
            pumped * w,
            gone * fresh + drained - drained_salt + let_out_water,
            gone * w + drained_salt + let_out_salt,
            dissolving * HEAT_OF_SOLUTION,
            supply * supply_heat + heating,
            out_heat + loss + drying_heat + let_out_heat + spill_heat,
        ]
