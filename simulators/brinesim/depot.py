"""What the simulated depot is built of: every size that the plant's equations use, with defaults.

The defaults are Tern Hollow of the example config. Where each number comes from stands in
`brinesim/sources.toml`.
"""

from typing import Self

from pydantic import Field, model_validator

from brinesim.parts import Name, NotNegative, Part, Positive
from brinesim.vessels import VesselPlan, volume_from_level


class DepotPlan(Part):
    """One depot's plant, SI."""

    id: Name = "tern-hollow"
    main: VesselPlan = VesselPlan(diameter_m=2.4, brim_m=2.4)
    hopper: VesselPlan = VesselPlan(diameter_m=2.0, brim_m=1.8)
    containment: VesselPlan = VesselPlan(shape="box", length_m=7.0, width_m=4.0, brim_m=0.6)

    fill_mark_m: Positive = 2.20
    float_band_m: float = Field(default=0.04, gt=0)
    float_shut_below_mark_m: NotNegative = 0.01
    water_flow_kg_per_s: float = Field(default=0.935, gt=0)
    """Comes to 0.9 L/s of brine: the salt that leaves the bed makes room for some of the water."""
    water_temperature_c: float = 8.0
    blend: float = Field(default=0.125, ge=0, le=1)
    """Share of the water that goes past the hopper, straight into the main tank."""

    weir_m: Positive = 1.40
    weir_coefficient: NotNegative = 0.17
    bed_bulk_density: Positive = 1200.0
    bed_void: float = Field(default=0.446, gt=0, lt=1)
    dissolving_kg_per_s_per_m: NotNegative = 32.5
    salt_density: Positive = 2165.0

    pump_head_m: NotNegative = 26.0
    pump_curve_s2_per_m5: Positive = 5.2e5
    hose_curve_s2_per_m5: NotNegative = 1.35e6
    delivery_height_m: NotNegative = 3.0
    suction_m: NotNegative = 0.08
    vortex_m: float = Field(default=0.02, gt=0)
    """Within this height over its suction the pump draws air too."""
    shut_off_power_w: NotNegative = 1500.0
    power_per_flow_w_s_per_m3: NotNegative = 1.67e5
    current_a_per_w: NotNegative = 1 / 163.0
    dry_power_w: NotNegative = 450.0
    dry_current_factor: NotNegative = 1.7
    """A motor that idles draws more current for its power than one that works."""
    casing_heat_capacity_j_per_k: Positive = 24_000.0
    casing_loss_w_per_k: Positive = 4.0
    line_heat_seconds: Positive = 2400.0

    mixing_seconds: float = Field(default=240.0, gt=0)
    """How soon the brine low in the tank follows the whole, while something flows."""
    mixing_weak_factor: float = Field(default=3.0, gt=0)
    """Weaker brine floats: it takes this much longer to reach the bottom."""
    mixing_still_factor: float = Field(default=10.0, gt=0)
    """With nothing flowing it takes this much longer again."""

    shelter_heat_capacity_j_per_k: Positive = 1.5e6
    shelter_loss_w_per_k: NotNegative = 200.0
    shelter_loss_per_wind: NotNegative = 0.025
    door_loss_w_per_k: NotNegative = 900.0
    heater_w: NotNegative = 12_000.0
    heater_a: NotNegative = 50.0
    thermostat_c: float = 10.0
    thermostat_band_c: NotNegative = 1.0
    main_to_shelter_w_per_k: NotNegative = 80.0
    hopper_to_shelter_w_per_k: NotNegative = 40.0
    hopper_open_m2: NotNegative = 0.2
    spill_coefficient: NotNegative = 8.0
    """Of a wide lip: m3/s for each m^1.5 of head."""
    evaporation_kg_per_s_per_m2_per_k: NotNegative = 1.4e-6

    main_empty_mass_kg: NotNegative = 300.0

    level_m: Positive = 2.15
    strength: float = Field(default=0.2335, ge=0, le=0.263)
    salt_bed_m: NotNegative = 1.10
    brine_temperature_c: float = Field(default=9.5, ge=-21, le=40)
    shelter_temperature_c: float = 10.0
    containment_level_m: NotNegative = 0.005

    @model_validator(mode="after")
    def _stands_in_its_containment(self) -> Self:
        floor = volume_from_level(self.containment, 1.0)
        feet = volume_from_level(self.main, self.main.brim_m) / self.main.brim_m
        feet += volume_from_level(self.hopper, self.hopper.brim_m) / self.hopper.brim_m
        if floor <= feet:
            raise ValueError(
                f"the containment's floor of {floor:.3g} m2 is no larger than the two tanks that "
                f"stand on it, {feet:.3g} m2"
            )
        return self
