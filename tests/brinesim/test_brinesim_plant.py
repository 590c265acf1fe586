"""The plant's equations: conservation, closed forms, and scipy's integrator."""

import math

import numpy as np
import pytest
from scipy.integrate import solve_ivp
from scipy.optimize import brentq

from brinesim import equations as eq
from brinesim.brine import (
    SALT_HEAT_CAPACITY,
    SOLID_HEAT_CAPACITY,
    WATER_HEAT_CAPACITY,
    density_from_mass_fraction,
    saturation_from_temperature,
)
from brinesim.depot import DepotPlan
from brinesim.plant import Plant
from brinesim.scenario import load_scenario
from brinesim.simulation import Simulation
from brinesim.vessels import VesselPlan
from brinesim.weather import Weather, WeatherPlan

STILL = WeatherPlan(
    year_mean_c=-12.0, year_swing_c=0, day_swing_c=0, front_sd_c=0, snap_per_day=0, rain_per_day=0
)


def plant(plan: DepotPlan | None = None, weather: WeatherPlan = STILL, hours: float = 100) -> Plant:
    sky = Weather(weather, seed=np.random.SeedSequence(1), year_day=10, seconds=hours * 3600)
    return Plant(plan or DepotPlan(), sky)


def masses(state: list[float]) -> tuple[float, float]:
    """All water and all salt within the fence or carried over it since the start."""
    water = state[eq.HOPPER_WATER] + state[eq.MAIN_WATER] + state[eq.YARD_WATER]
    water += state[eq.LOADED_WATER] + state[eq.LOST_WATER] + state[eq.DRIED]
    water -= state[eq.SUPPLIED] + state[eq.RAINED]
    salt = state[eq.HOPPER_SOLID] + state[eq.HOPPER_SALT] + state[eq.MAIN_SALT]
    salt += state[eq.YARD_SALT] + state[eq.LOADED_SALT] + state[eq.LOST_SALT]
    return water, salt


def heat(state: list[float], plan: DepotPlan) -> float:
    """All heat in hopper, tank and shelter, and what has left or come since the start."""
    inside = state[eq.HOPPER_HEAT] + state[eq.MAIN_HEAT]
    inside += state[eq.SHELTER_C] * plan.shelter_heat_capacity_j_per_k
    given = state[eq.HEAT_GIVEN] - state[eq.HEAT_TAKEN] - state[eq.HEAT_OF_DISSOLVING]
    return inside - given


def test_water_and_salt_are_conserved_over_half_a_season() -> None:
    """90 days of loads, storms, rain, leaks and refills lose nothing: to 1e-9 of what passed."""
    faults = [
        {"kind": "tank-leak", "at": "30 d", "lasts": "20 d"},
        {"kind": "float-stuck-open", "at": "55 d", "lasts": "1 d"},
        {"kind": "containment-filling", "at": "65 d", "lasts": "3 d"},
        {"kind": "weak-brine", "at": "75 d", "lasts": "9 d"},
    ]
    silent = {name: {"fitted": False} for name in load_scenario("season").sensors}
    silent["outlet-power"] = {"fitted": True, "every": "1 h"}
    half = {"duration": "90 d", "faults": faults, "sensors": silent}
    season = load_scenario("season", half)
    run = Simulation(season)
    water_before, salt_before = masses(run.plant.state)
    heat_before = heat(run.plant.state, season.depot)
    for _ in run.chunks():
        pass
    state = run.plant.state
    water, salt = masses(state)
    assert state[eq.LOADED_SALT] > 10_000, "half a season loads more than ten tonnes of salt"
    assert state[eq.SUPPLIED] > 50_000
    assert abs(water - water_before) < 1e-9 * state[eq.SUPPLIED]
    assert abs(salt - salt_before - run.salt_added_kg) < 1e-9 * state[eq.LOADED_SALT]
    assert abs(heat(state, season.depot) - heat_before) < 1e-9 * state[eq.HEAT_GIVEN]


def test_the_steps_follow_scipys_integrator() -> None:
    """A load and its refill: level to 0.5 mm, strength to 1e-5, warmth to 0.01 K of LSODA."""
    mine = plant()
    mine.controls.heater_ok = False
    mine.controls.pump_on = mine.controls.valve_open = True
    mine.advance(600, [])
    reference = plant()
    reference.controls.pump_on = reference.controls.valve_open = True
    around = eq.Surroundings(*reference.weather.at(0), False, False)

    def follow(state: list[float], seconds: float) -> list[float]:
        solved = solve_ivp(
            lambda _t, y: reference.equations.rates(list(y), reference.controls, around),
            (0, seconds),
            state,
            method="LSODA",
            rtol=1e-9,
            atol=1e-6,
        )
        return [float(v) for v in solved.y[:, -1]]

    mine_level, mine_w, mine_c = look(mine)
    reference.state = follow(reference.state, 600)
    level, w, c = look(reference)
    assert mine_level == pytest.approx(level, abs=5e-4)
    for each in (mine, reference):
        each.controls.pump_on = False
    mine.advance(4200, [])
    reference.state = follow(reference.state, 3600)
    mine_level, mine_w, mine_c = look(mine)
    level, w, c = look(reference)
    assert level > 1.9
    assert mine_level == pytest.approx(level, abs=5e-4)
    assert mine_w == pytest.approx(w, abs=1e-5)
    assert mine_c == pytest.approx(c, abs=0.01)


def look(of: Plant) -> tuple[float, float, float]:
    row = of.look()
    return row[1], row[2], row[3]


def test_a_leak_empties_the_tank_as_torricelli_says() -> None:
    """Through a hole the root of the level falls in a straight line, to 0.1 mm in an hour."""
    leaking = plant(DepotPlan(level_m=2.0))
    leaking.controls.water_on = False
    area, hole = math.pi * 2.4**2 / 4, 4e-4
    leaking.controls.leak_area_m2 = hole
    # The brine cools by the shelter's door meanwhile; keep it out of a law about flow.
    leaking.equations.plan = leaking.plan.model_copy(update={"main_to_shelter_w_per_k": 0.0})
    leaking.advance(3600, [])
    root = math.sqrt(2.0) - hole / area * math.sqrt(9.81 / 2) * 3600
    assert leaking.look()[1] == pytest.approx(root**2, abs=1e-4)


def test_the_pump_runs_where_its_curve_meets_the_hose() -> None:
    """The flow is the root of pump head less hose head that brentq finds; 3.6 L/s is near it."""
    plan = DepotPlan(level_m=1.2)
    pumping = plant(plan)
    pumping.controls.pump_on = pumping.controls.valve_open = True

    def spare_head(flow: float) -> float:
        pump = plan.pump_head_m - plan.pump_curve_s2_per_m5 * flow**2
        return pump + 1.2 - plan.delivery_height_m - plan.hose_curve_s2_per_m5 * flow**2

    flow = pumping.look()[12]
    assert flow == pytest.approx(brentq(spare_head, 0, 0.02), rel=1e-9)
    assert flow == pytest.approx(3.6e-3, rel=0.02)


def test_a_shut_in_pump_heats_as_fast_as_its_power_says() -> None:
    """Dead-headed, the casing warms by P / C at first and settles at P / loss (closed form)."""
    shut = plant()
    shut.controls.pump_on = True
    start = shut.casing_c
    shut.advance(60, [])
    p = shut.plan
    rate = p.shut_off_power_w / p.casing_heat_capacity_j_per_k
    fade = 60 * p.casing_loss_w_per_k / p.casing_heat_capacity_j_per_k
    expected = start + (rate * 60) * (1 - math.exp(-fade)) / fade
    assert shut.casing_c == pytest.approx(expected, abs=0.05)
    assert 3.0 < shut.casing_c - start < 4.6, "1.5 kW into 5 L of brine and its iron, per minute"


def test_a_shelter_without_heat_cools_as_newton_says() -> None:
    """Cut off from the tanks, the shelter falls to the outdoors on one exponential, to 0.01 K."""
    plan = DepotPlan(main_to_shelter_w_per_k=0.0, hopper_to_shelter_w_per_k=0.0)
    cold = plant(plan)
    cold.controls.heater_ok = False
    calm = WeatherPlan(**{**STILL.model_dump(), "wind_mean_m_per_s": 0.0})
    cold.weather = Weather(calm, seed=np.random.SeedSequence(1), year_day=10, seconds=4e5)
    cold.advance(7200, [])
    seconds = plan.shelter_heat_capacity_j_per_k / plan.shelter_loss_w_per_k
    expected = -12.0 + 22.0 * math.exp(-7200 / seconds)
    assert cold.state[eq.SHELTER_C] == pytest.approx(expected, abs=0.01)


def test_salt_dissolves_as_the_closed_form_says() -> None:
    """With a deep bed and no flow, the want of salt fades as the exact solution of its equation.

    The hopper's liquid keeps its water W while salt s dissolves: ds/dt = k (w_sat - s / (W + s)).
    The quadrature of dt = ds / (k (w_sat - w)) is scipy's; the step must follow it.
    """
    still = plant(DepotPlan(hopper_to_shelter_w_per_k=0.0, brine_temperature_c=15.0))
    still.controls.water_on = False
    y = still.state
    # Thin the brine without moving its level much: half of its salt is taken out.
    y[eq.HOPPER_SALT] *= 0.5
    y[eq.HOPPER_HEAT] = 15.0 * (
        WATER_HEAT_CAPACITY * y[eq.HOPPER_WATER]
        + SALT_HEAT_CAPACITY * y[eq.HOPPER_SALT]
        + SOLID_HEAT_CAPACITY * y[eq.HOPPER_SOLID]
    )
    # Off the weir, so that nothing leaves.
    still.equations.plan = still.plan.model_copy(
        update={"weir_m": 1.7, "evaporation_kg_per_s_per_m2_per_k": 0.0}
    )
    water, salt, solid = y[eq.HOPPER_WATER], y[eq.HOPPER_SALT], y[eq.HOPPER_SOLID]
    still.advance(120, [])

    def rate(_t: float, s: list[float]) -> list[float]:
        bed = (solid - (s[0] - salt)) / still.solid_kg_per_m
        # The brine cools by the heat of solution; its temperature follows from what dissolved.
        capacity = (
            WATER_HEAT_CAPACITY * water
            + SALT_HEAT_CAPACITY * s[0]
            + SOLID_HEAT_CAPACITY * (solid - (s[0] - salt))
        )
        c = (y[eq.HOPPER_HEAT] - 40_000.0 * (s[0] - salt)) / capacity
        want = saturation_from_temperature(c) - s[0] / (water + s[0])
        return [still.plan.dissolving_kg_per_s_per_m * bed * want]

    solved = solve_ivp(rate, (0, 120), [salt], rtol=1e-9, atol=1e-9)
    gained = float(solved.y[0, -1]) - salt
    assert gained > 100
    assert still.state[eq.HOPPER_SALT] - salt == pytest.approx(gained, rel=0.005)


def test_a_low_bed_makes_weak_brine() -> None:
    """At full flow a bed of 1.1 m gives over 25 %, a bed of 0.1 m under 22 %."""
    made = {}
    for bed in (1.1, 0.1):
        working = plant(DepotPlan(salt_bed_m=bed, level_m=0.5, blend=0.0))
        for _ in range(30):
            working.add_salt(bed * working.solid_kg_per_m - working.state[eq.HOPPER_SOLID])
            working.advance(working.time + 60, [])
        made[bed] = working.look()[6]
    assert made[1.1] > 0.25
    assert made[0.1] < 0.22


def test_a_healthy_float_shuts_within_its_run_on() -> None:
    """After a load the tank refills to the mark and at most 5 cm over it, at about 0.9 L/s."""
    working = plant()
    working.controls.pump_on = working.controls.valve_open = True
    working.advance(600, [])
    working.controls.pump_on = False
    rows: list[tuple[float, ...]] = []
    working.advance(3 * 3600, rows)
    levels = [row[1] for row in rows]
    assert 2.18 < levels[-1] < 2.21
    assert max(levels) < 2.25
    rising = [row for row in rows if row[0] > 1500 and row[1] < 2.0]
    flow = (rising[-1][1] - rising[0][1]) * math.pi * 1.44 / (rising[-1][0] - rising[0][0])
    assert flow == pytest.approx(0.9e-3, rel=0.03)


def test_brine_expands_with_warmth() -> None:
    """The same mass stands higher when warmer, by as much as its density says."""
    cold, warm = plant(DepotPlan(brine_temperature_c=0.0)), plant()
    warm.state[eq.MAIN_WATER], warm.state[eq.MAIN_SALT] = (
        cold.state[eq.MAIN_WATER],
        cold.state[eq.MAIN_SALT],
    )
    warm.state[eq.MAIN_HEAT] = 20.0 * (
        WATER_HEAT_CAPACITY * warm.state[eq.MAIN_WATER]
        + SALT_HEAT_CAPACITY * warm.state[eq.MAIN_SALT]
    )
    ratio = warm.look()[1] / cold.look()[1]
    expected = density_from_mass_fraction(0.2335, 0.0) / density_from_mass_fraction(0.2335, 20.0)
    assert ratio == pytest.approx(expected, rel=1e-9)
    assert ratio > 1.004


def test_the_plant_runs_in_a_tank_of_another_shape() -> None:
    """A lying tank fills, loads and conserves mass like an upright one."""
    lying = VesselPlan(shape="lying cylinder", diameter_m=2.5, length_m=4.0, brim_m=2.5)
    other = plant(DepotPlan(main=lying, level_m=1.8))
    before = masses(other.state)
    other.controls.pump_on = other.controls.valve_open = True
    other.advance(900, [])
    assert other.look()[1] < 1.7
    assert masses(other.state) == pytest.approx(before, rel=1e-12)


def test_a_lying_tank_that_is_full_runs_over() -> None:
    """Its rim is its own top: what no longer fits stands in the containment, not in the tank."""
    lying = VesselPlan(shape="lying cylinder", diameter_m=1.6, length_m=2.5, brim_m=1.6)
    full = plant(DepotPlan(main=lying, level_m=1.5, fill_mark_m=1.4))
    before = masses(full.state)
    full.controls.float_fault = "open"
    full.advance(3600, [])
    row = dict(zip(eq.COLUMNS, full.look(), strict=True))
    assert 1.6 < row["main_level"] < 1.62
    assert row["containment_level"] > 0.05
    assert masses(full.state) == pytest.approx(before, rel=1e-12)


def test_a_blocked_hopper_runs_over_into_the_containment_and_loses_nothing() -> None:
    """Its water stops at a little over its brim; water, salt and heat are all still there."""
    working = plant(DepotPlan(level_m=1.2))
    working.controls.weir_blocked = True
    before, heat_before = masses(working.state), heat(working.state, working.plan)
    standing, yard = working.look()[1], working.look()[8]
    working.controls.blend = 0.0
    working.advance(3 * 3600, [])
    row = dict(zip(eq.COLUMNS, working.look(), strict=True))
    assert working.plan.hopper.brim_m < row["hopper_level"] < working.plan.hopper.brim_m + 0.01
    assert row["main_level"] < standing + 0.01
    assert row["containment_level"] > yard + 0.1
    assert masses(working.state) == pytest.approx(before, rel=1e-12)
    left = heat(working.state, working.plan) - heat_before
    assert abs(left) < 1e-9 * working.state[eq.HEAT_GIVEN]


def test_weak_brine_reaches_the_probe_late_and_the_whole_in_the_end() -> None:
    """While a weak fill blends in, the probe reads stronger than the tank; both agree after."""
    working = plant(DepotPlan(level_m=1.2, blend=0.9))
    rows: list[tuple[float, ...]] = []
    working.advance(2400, rows)
    at_probe = eq.COLUMNS.index("probe_strength")
    whole, low = working.look()[2], working.look()[at_probe]
    assert 0.003 < low - whole < 0.04
    working.controls.water_on = False
    working.advance(2 * 86_400, rows)
    assert working.look()[at_probe] == pytest.approx(working.look()[2], abs=1e-5)


def test_a_leak_that_empties_the_tank_leaves_what_stands_under_the_hole() -> None:
    """With its water shut off, three centimetres stay, as warm as the shelter; when the water is on
    again the tank makes brine again.
    """
    leaking = plant()
    leaking.controls.water_on = False
    leaking.controls.leak_area_m2 = 2e-3
    before = masses(leaking.state)
    rows: list[tuple[float, ...]] = []
    leaking.advance(86_400, rows)
    levels = [row[1] for row in rows]
    assert min(levels) == pytest.approx(0.03, abs=0.005)
    assert leaking.look()[3] == pytest.approx(10.0, abs=1.0)
    leaking.controls.leak_area_m2 = 0.0
    leaking.controls.water_on = True
    leaking.advance(90_000, rows)
    assert leaking.look()[1] > 0.5
    assert 0.2 < leaking.look()[2] < 0.264
    assert masses(leaking.state) == pytest.approx(before, rel=1e-12)


def test_what_is_left_in_a_drained_hopper_dries_to_a_crust_and_no_further() -> None:
    """After a warm summer there is still a little brine in it, not much beyond saturation."""
    summer = WeatherPlan(**{**STILL.model_dump(), "year_mean_c": 25.0})
    drained = plant(DepotPlan(), summer, hours=24 * 150)
    drained.controls.water_on = False
    drained.add_salt(0.02 * drained.solid_kg_per_m - drained.state[eq.HOPPER_SOLID])
    drained.controls.hopper_drain_m3_per_s = 0.001
    before = masses(drained.state)
    drained.advance(150 * 86_400, [])
    row = dict(zip(eq.COLUMNS, drained.look(), strict=True))
    assert row["hopper_level"] > 0.01
    beyond = row["hopper_strength"] - saturation_from_temperature(row["hopper_temperature"])
    assert 0.005 < beyond < 0.011
    assert masses(drained.state) == pytest.approx(before, rel=1e-9)


def test_no_more_salt_is_taken_out_than_there_is() -> None:
    """Nine tonnes taken out of a bed of four leave none, not less."""
    act = {"at": "1 min", "act": "salt", "kg": -9000.0}
    run = Simulation(load_scenario("fault-day", {"duration": "30 min", "acts": [act]}))
    standing = run.plant.state[eq.HOPPER_SOLID]
    beds = np.concatenate([chunk.columns["salt_level"] for chunk in run.chunks()])
    assert beds.min() == 0.0
    dissolved = run.plant.state[eq.HOPPER_SALT] + run.plant.state[eq.MAIN_SALT]
    assert -standing <= run.salt_added_kg < -0.9 * standing, dissolved


def test_the_water_flow_is_all_that_the_float_lets_in() -> None:
    """A fill and a leak behind the float: what a meter would count is what was supplied, kg for
    litre; and once the fill is over, it is the water of the brine that leaks.
    """
    filled = plant(DepotPlan(level_m=2.0))
    filled.controls.pipe_leak_m3_per_s = 20.0 / 3.6e6
    rows: list[tuple[float, ...]] = []
    filled.advance(12 * 3600, rows)
    flow = np.array([row[eq.COLUMNS.index("water_flow")] for row in rows])
    times = np.array([row[0] for row in rows])
    counted = float(np.trapezoid(flow, times)) * 1000
    assert counted == pytest.approx(filled.state[eq.SUPPLIED], rel=0.002)
    # As the depot has it: 0.935 L of water for each 0.9 L of brine, for the salt goes from the bed.
    assert float(flow[-600:].mean()) * 3.6e6 == pytest.approx(20 * 0.935 / 0.9, rel=0.02)
