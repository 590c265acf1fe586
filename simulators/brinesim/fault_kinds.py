"""What each kind of fault does, how bad it is by default, and when it is wrong and harms."""

from collections.abc import Callable, Mapping
from dataclasses import dataclass

import numpy as np
from numpy.typing import NDArray

from brinesim.depot import DepotPlan
from brinesim.vessels import volume_from_level

Columns = Mapping[str, NDArray[np.float64]]
Mask = NDArray[np.bool_]
Setting = bool | float | str

RUN_ON_M = 0.05
WANTS_FILLING_M = 0.10
"""A tank so far under its mark wants water: until then a float that is stuck shut does nothing."""
TOO_COLD_C = 3.0
"""A shelter that an open door doesn't bring down to this is none the worse for it."""
WET_M = 0.02
"""How much in the containment counts as liquid where there should be none."""


@dataclass(frozen=True, slots=True, kw_only=True)
class FaultKind:
    """What is known of one kind of fault."""

    alarm: str
    """The alarm that it should raise; empty where none is made for it."""
    unit: str
    size: float
    also: tuple[str, ...] = ()
    """Other alarms that say the same of it."""
    on: Callable[[float, DepotPlan], Mapping[str, Setting]] | None = None
    off: Callable[[DepotPlan], Mapping[str, Setting]] | None = None
    sensor: str = ""
    how: str = ""
    names: tuple[str, ...] = ()
    """The sensors of which an alarm may say it; none: its own sensor."""
    begun: Callable[[Columns, DepotPlan], Mask] | None = None
    """When the state itself is wrong; none: from the fault's onset."""
    begun_if_on: Callable[[Columns, DepotPlan], Mask] | None = None
    """The same of a switch that is stuck at on; `begun` is then of one that is stuck at off."""
    begins_before: float = 0.0
    """So many seconds before its time something is done that may be wrong by itself already."""
    pump_runs_on: Callable[[DepotPlan], float] | None = None
    """For how many seconds from its onset the pump must run, or it has come to nothing."""
    harm: Callable[[Columns, DepotPlan], Mask] | None = None
    harm_is: str = ""
    band: tuple[float, int] | None = None
    """For brine off its band: the limit as a mass fraction, and on which side it is off."""


def _orifice(litres_per_hour: float, plan: DepotPlan) -> float:
    """The hole in m2 (discharge coefficient in it) that lets this out from the first level."""
    return litres_per_hour / 3.6e6 / float(np.sqrt(2 * 9.81 * max(plan.level_m, 0.2)))


def _afloat(c: Columns, plan: DepotPlan) -> Mask:
    area = np.pi * plan.main.diameter_m**2 / 4
    lift = 1000.0 * area * c["containment_level"]
    return np.asarray(lift > plan.main_empty_mass_kg + 1150.0 * area * c["main_level"])


def _over_brim(c: Columns, plan: DepotPlan) -> Mask:
    return np.asarray(c["main_level"] >= plan.main.brim_m)


def _casing_hot(c: Columns, plan: DepotPlan) -> Mask:
    return np.asarray(c["casing_temperature"] >= 100.0)


def _shelter_freezes(c: Columns, plan: DepotPlan) -> Mask:
    return np.asarray(c["shelter_temperature"] <= 0.0)


def _over_hopper_brim(c: Columns, plan: DepotPlan) -> Mask:
    return np.asarray(c["hopper_level"] >= plan.hopper.brim_m)


def _dry_running(c: Columns, plan: DepotPlan) -> Mask:
    low = plan.suction_m + 0.2 * plan.vortex_m
    return np.asarray((c["pump_turning"] > 0) & (c["main_level"] <= low))


def _longest_load(plan: DepotPlan) -> float:
    """How long a load takes that empties the tank from its brim while it is being filled, s."""
    head = plan.pump_head_m - plan.delivery_height_m
    pumped = float(np.sqrt(head / (plan.pump_curve_s2_per_m5 + plan.hose_curve_s2_per_m5)))
    filled = plan.water_flow_kg_per_s / 1000.0
    return volume_from_level(plan.main, plan.main.brim_m) / max(pumped - filled, 1e-6)


def _air_locked(c: Columns, plan: DepotPlan) -> Mask:
    return np.asarray((c["pump_turning"] > 0) & (c["hose_flow"] <= 0) & (c["valve_open"] > 0))


_PUMP_OFF: Mapping[str, Setting] = {"pump_on": False, "valve_open": False}
_CLOSED = FaultKind(
    alarm="closed-valve",
    unit="",
    size=1.0,
    on=lambda size, plan: {"pump_on": True, "valve_open": False},
    off=lambda plan: _PUMP_OFF,
    harm=_casing_hot,
    harm_is="the liquid in the pump's casing reaches 100 degC",
)
_COLD = FaultKind(
    alarm="shelter-freezing",
    also=("heater-failed",),
    unit="",
    size=1.0,
    on=lambda size, plan: {"heater_ok": False},
    off=lambda plan: {"heater_ok": True},
    harm=_shelter_freezes,
    harm_is="the shelter's air reaches 0 degC",
)

KINDS: Mapping[str, FaultKind] = {
    "weak-brine": FaultKind(
        alarm="brine-weak",
        also=("fill-weak", "brine-freezing"),
        unit="share of the water past the hopper",
        size=0.75,
        on=lambda size, plan: {"blend": size},
        off=lambda plan: {"blend": plan.blend},
        band=(0.22, -1),
        begun=lambda c, plan: np.asarray(c["main_strength"] < 0.22),
        harm=lambda c, plan: np.asarray(c["main_strength"] < 0.20),
        harm_is="the tank is under 20 %, which freezes at -16.5 degC",
    ),
    "strong-brine": FaultKind(
        alarm="brine-strong",
        unit="share of the water past the hopper",
        size=0.0,
        on=lambda size, plan: {"blend": size},
        off=lambda plan: {"blend": plan.blend},
        band=(0.25, 1),
        begun=lambda c, plan: np.asarray(c["main_strength"] > 0.25),
        harm=lambda c, plan: np.asarray(c["main_strength"] > 0.255),
        harm_is="the tank is over 25.5 %, which drops crystals at -6.7 degC",
    ),
    "float-stuck-open": FaultKind(
        alarm="overflow-ahead",
        unit="",
        size=1.0,
        on=lambda size, plan: {"float_fault": "open"},
        off=lambda plan: {"float_fault": ""},
        begun=lambda c, plan: np.asarray(c["main_level"] > plan.fill_mark_m + RUN_ON_M),
        harm=_over_brim,
        harm_is="the main tank runs over its brim",
    ),
    "float-stuck-shut": FaultKind(
        alarm="not-filling",
        unit="",
        size=1.0,
        begun=lambda c, plan: np.asarray(c["main_level"] < plan.fill_mark_m - WANTS_FILLING_M),
        on=lambda size, plan: {"float_fault": "closed"},
        off=lambda plan: {"float_fault": ""},
    ),
    "float-worn": FaultKind(
        alarm="overflow-ahead",
        unit="m above the mark at which it shuts",
        size=0.12,
        on=lambda size, plan: {"float_wear_m": size},
        off=lambda plan: {"float_wear_m": 0.0},
        begun=lambda c, plan: np.asarray(c["main_level"] > plan.fill_mark_m + RUN_ON_M),
        harm=_over_brim,
        harm_is="the main tank runs over its brim",
    ),
    "tank-leak": FaultKind(
        alarm="tank-leak",
        also=("containment-wet",),
        unit="L/h into the containment",
        size=40.0,
        on=lambda size, plan: {"leak_area_m2": _orifice(size, plan)},
        off=lambda plan: {"leak_area_m2": 0.0},
        harm=lambda c, plan: np.asarray(c["containment_level"] > plan.containment.brim_m),
        harm_is="the containment runs over",
    ),
    "pipe-leak": FaultKind(
        alarm="tank-leak",
        unit="L/h into the ground",
        size=20.0,
        on=lambda size, plan: {"pipe_leak_m3_per_s": size / 3.6e6},
        off=lambda plan: {"pipe_leak_m3_per_s": 0.0},
    ),
    "line-leak": FaultKind(
        alarm="line-leak",
        unit="share of what the pump takes",
        size=0.25,
        on=lambda size, plan: {"line_leak_share": size},
        off=lambda plan: {"line_leak_share": 0.0},
        begun=lambda c, plan: np.asarray(c["pump_turning"] > 0),
    ),
    "containment-filling": FaultKind(
        alarm="containment-wet",
        unit="L/h of water",
        size=300.0,
        begun=lambda c, plan: np.asarray(c["containment_level"] > WET_M),
        on=lambda size, plan: {"yard_inflow_m3_per_s": size / 3.6e6},
        off=lambda plan: {"yard_inflow_m3_per_s": 0.0, "yard_drain_m3_per_s": 0.002},
        harm=lambda c, plan: np.asarray(c["containment_level"] > plan.containment.brim_m),
        harm_is="the containment runs over",
    ),
    "tank-empty-in-wet-containment": FaultKind(
        alarm="uplift",
        unit="L/h of water into the containment",
        size=600.0,
        on=lambda size, plan: {
            "yard_inflow_m3_per_s": size / 3.6e6,
            "water_on": False,
            "main_drain_m3_per_s": 0.004,
        },
        off=lambda plan: {
            "yard_inflow_m3_per_s": 0.0,
            "main_drain_m3_per_s": 0.0,
            "water_on": True,
            "yard_drain_m3_per_s": 0.002,
        },
        harm=_afloat,
        harm_is="the main tank floats",
    ),
    "heater-failed": _COLD,
    "door-left-open": FaultKind(
        alarm="shelter-freezing",
        begun=lambda c, plan: np.asarray(c["shelter_temperature"] <= TOO_COLD_C),
        unit="share open",
        size=1.0,
        on=lambda size, plan: {"door": size},
        off=lambda plan: {"door": 0.0},
        harm=_shelter_freezes,
        harm_is="the shelter's air reaches 0 degC",
    ),
    "pump-against-closed-valve": _CLOSED,
    "valve-shut-before-pump-off": _CLOSED,
    "line-frozen": FaultKind(
        alarm="closed-valve",
        unit="mass fraction left in the line",
        size=0.05,
        begins_before=10_800.0,  # the line is rinsed, and not drained
        begun=_air_locked,  # an open valve, and nothing flows
        on=lambda size, plan: {"pump_on": True, "valve_open": True},
        off=lambda plan: {**_PUMP_OFF, "line_strength": -1.0},
        harm=_casing_hot,
        harm_is="the liquid in the pump's casing reaches 100 degC",
    ),
    "pump-dry": FaultKind(
        alarm="pump-dry",
        unit="",
        size=1.0,
        on=lambda size, plan: {"pump_on": True, "valve_open": True, "water_on": False},
        off=lambda plan: {**_PUMP_OFF, "water_on": True},
        begun=_dry_running,
        harm=_dry_running,
        harm_is="the shaft seal runs dry",
    ),
    "pump-left-on": FaultKind(
        alarm="pump-left-running",
        unit="",
        size=1.0,
        on=lambda size, plan: {"pump_on": True, "valve_open": True, "hose_to": "main"},
        off=lambda plan: {**_PUMP_OFF, "hose_to": "truck"},
        # The next crew may switch it off after its own load, as any other: then nobody was harmed.
        pump_runs_on=_longest_load,
    ),
    "air-lock": FaultKind(
        alarm="pump-dry",
        also=("closed-valve",),
        unit="",
        size=1.0,
        on=lambda size, plan: {"air_lock": True, "pump_on": True, "valve_open": True},
        off=lambda plan: {**_PUMP_OFF, "air_lock": False},
        harm=_air_locked,
        harm_is="the shaft seal runs dry",
    ),
    "hopper-blocked": FaultKind(
        alarm="overflow-ahead",
        unit="",
        size=1.0,
        on=lambda size, plan: {"weir_blocked": True},
        off=lambda plan: {"weir_blocked": False},
        begun=lambda c, plan: np.asarray(c["hopper_level"] > plan.hopper.brim_m - RUN_ON_M),
        harm=_over_hopper_brim,
        harm_is="the hopper runs over its brim",
    ),
    "outlet-tripped": FaultKind(
        alarm="outlet-dead",
        unit="",
        size=1.0,
        on=lambda size, plan: {"outlet_ok": False},
        off=lambda plan: {"outlet_ok": True},
    ),
    "power-cut": FaultKind(
        alarm="mains-lost",
        also=("outlet-dead", "heater-failed", "shelter-freezing"),
        unit="",
        size=1.0,
        on=lambda size, plan: {"mains_ok": False},
        off=lambda plan: {"mains_ok": True},
        harm=_shelter_freezes,
        harm_is="the shelter's air reaches 0 degC",
    ),
    "salt-nearly-gone": FaultKind(
        alarm="salt-low",
        also=("brine-weak", "fill-weak"),
        unit="m of bed left",
        size=0.10,
        band=(0.22, -1),
        begun=lambda c, plan: np.asarray(c["main_strength"] < 0.22),
        harm=lambda c, plan: np.asarray(c["main_strength"] < 0.20),
        harm_is="the tank is under 20 %, which freezes at -16.5 degC",
    ),
    "probe-dry": FaultKind(
        alarm="sensor-implausible",
        also=("strength-unknown",),
        unit="",
        size=1.0,
        sensor="main-conductivity",
        how="dry",
    ),
    "probe-fouled": FaultKind(
        alarm="sensor-implausible",
        also=("probe-drifted", "strength-unknown"),
        unit="share of the value lost a day",
        size=0.05,
        sensor="main-conductivity",
        how="fouled",
    ),
    "probe-drifting": FaultKind(
        alarm="sensor-implausible",
        also=("probe-drifted", "strength-unknown"),
        unit="of its own unit a day",
        size=5.0,
        sensor="main-conductivity",
        how="drift",
    ),
    "probe-compensated": FaultKind(
        alarm="probe-compensated",
        also=("strength-unknown",),
        unit="share a kelvin, to 25 degC",
        size=0.02,
        sensor="main-conductivity",
        how="compensated",
    ),
    "sensor-stuck": FaultKind(
        alarm="sensor-implausible", unit="", size=1.0, sensor="main-level", how="stuck"
    ),
    "switch-stuck": FaultKind(
        alarm="switch-contradicted",
        unit="",
        size=1.0,
        sensor="hose-valve-open",
        how="stuck",
        begun=lambda c, plan: np.asarray((c["valve_open"] > 0) & (c["hose_flow"] > 0)),
        begun_if_on=lambda c, plan: np.asarray(c["valve_open"] <= 0),
    ),
    "sensor-spiking": FaultKind(
        alarm="sensor-implausible",
        unit="share of readings",
        size=0.05,
        sensor="main-level",
        how="spike",
    ),
    "thermometer-swapped": FaultKind(
        alarm="sensor-implausible",
        also=("probe-drifted", "strength-unknown"),
        unit="",
        size=1.0,
        sensor="main-temperature",
        how="swapped",
        names=("main-temperature", "shelter-temperature", "main-conductivity"),
    ),
    "sensor-silent": FaultKind(
        alarm="sensor-silent", unit="", size=1.0, sensor="main-conductivity", how="silent"
    ),
    "gateway-silent": FaultKind(alarm="depot-silent", unit="", size=1.0, how="silent"),
    "gateway-buffering": FaultKind(alarm="depot-silent", unit="", size=1.0, how="buffered"),
    "clock-wrong": FaultKind(alarm="clock-wrong", unit="s ahead", size=5400.0, how="clock"),
}
