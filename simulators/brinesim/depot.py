"""What the simulated depot is built of: every size that the plant's equations use, with defaults.

The defaults are Tern Hollow of the example config. Where each number comes from stands in
`brinesim/sources.toml`.
"""

from pydantic import BaseModel, ConfigDict, Field

from brinesim.vessels import VesselPlan


class DepotPlan(BaseModel):
    """One depot's plant, SI."""

    model_config = ConfigDict(extra="forbid", frozen=True)

    id: str = "tern-hollow"
    main: VesselPlan = VesselPlan(diameter_m=2.4, brim_m=2.4)
    hopper: VesselPlan = VesselPlan(diameter_m=2.0, brim_m=1.8)
    containment: VesselPlan = VesselPlan(shape="box", length_m=7.0, width_m=4.0, brim_m=0.6)

    fill_mark_m: float = 2.20
    float_band_m: float = Field(default=0.04, gt=0)
    float_shut_below_mark_m: float = 0.01
    water_flow_kg_per_s: float = Field(default=0.935, gt=0)
    """Comes to 0.9 L/s of brine: the salt that leaves the bed makes room for some of the water."""
    water_temperature_c: float = 8.0
    blend: float = Field(default=0.125, ge=0, le=1)
    """Share of the water that goes past the hopper, straight into the main tank."""

    weir_m: float = 1.40
    weir_coefficient: float = 0.17
    bed_bulk_density: float = 1200.0
    bed_void: float = Field(default=0.446, gt=0, lt=1)
    dissolving_kg_per_s_per_m: float = 32.5
    salt_density: float = 2165.0

    pump_head_m: float = 26.0
    pump_curve_s2_per_m5: float = 5.2e5
    hose_curve_s2_per_m5: float = 1.35e6
    delivery_height_m: float = 3.0
    suction_m: float = 0.08
    vortex_m: float = Field(default=0.02, gt=0)
    """Within this height over its suction the pump draws air too."""
    shut_off_power_w: float = 1500.0
    power_per_flow_w_s_per_m3: float = 1.67e5
    current_a_per_w: float = 1 / 163.0
    dry_power_w: float = 450.0
    dry_current_factor: float = 1.7
    """A motor that idles draws more current for its power than one that works."""
    casing_heat_capacity_j_per_k: float = 24_000.0
    casing_loss_w_per_k: float = 4.0
    line_heat_seconds: float = 2400.0

    mixing_seconds: float = Field(default=240.0, gt=0)
    """How soon the brine low in the tank follows the whole, while something flows."""
    mixing_weak_factor: float = Field(default=3.0, gt=0)
    """Weaker brine floats: it takes this much longer to reach the bottom."""
    mixing_still_factor: float = Field(default=10.0, gt=0)
    """With nothing flowing it takes this much longer again."""

    shelter_heat_capacity_j_per_k: float = 1.5e6
    shelter_loss_w_per_k: float = 200.0
    shelter_loss_per_wind: float = 0.025
    door_loss_w_per_k: float = 900.0
    heater_w: float = 12_000.0
    heater_a: float = 50.0
    thermostat_c: float = 10.0
    thermostat_band_c: float = 1.0
    main_to_shelter_w_per_k: float = 80.0
    hopper_to_shelter_w_per_k: float = 40.0
    hopper_open_m2: float = 0.2
    spill_coefficient: float = 8.0
    """Of a wide lip: m3/s for each m^1.5 of head."""
    evaporation_kg_per_s_per_m2_per_k: float = 1.4e-6

    main_empty_mass_kg: float = 300.0

    level_m: float = 2.15
    strength: float = Field(default=0.2335, ge=0, le=0.263)
    salt_bed_m: float = 1.10
    brine_temperature_c: float = 9.5
    shelter_temperature_c: float = 10.0
    containment_level_m: float = 0.005
