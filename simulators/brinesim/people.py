"""People: loads, tests, refills and drains, at a depot's hours and with a person's slips."""

import math
from collections.abc import Mapping

import numpy as np

from brinesim.brine import density_from_mass_fraction, water_density
from brinesim.faults import Event
from brinesim.instruments import generator
from brinesim.scenario import PeoplePlan, Scenario

SIXTY_F = 15.556
NOMINAL_FLOW_M3_PER_S = 0.0036
GLASS_PER_K = 25e-6
"""Volume expansion of a hydrometer's glass (ASTM E100, from memory)."""


def load_events(
    *, at: float, amount_m3: float, to: str, late_seconds: float, group: int
) -> list[Event]:
    """One truck: valve open, pump on, pump off after the amount, valve closed.

    With `late_seconds` above zero the pump is started that long before the valve is opened.
    """
    seconds = amount_m3 / NOMINAL_FLOW_M3_PER_S
    pump = at + (15 if late_seconds <= 0 else 0)
    valve = at if late_seconds <= 0 else at + late_seconds
    off = max(pump, valve) + seconds
    need = 0.15 + amount_m3 / 4.5
    return [
        Event(
            time=min(pump, valve),
            needs_level_m=need,
            group=group,
            changes={"hose_to": to, "pump_on": late_seconds > 0, "valve_open": late_seconds <= 0},
        ),
        Event(time=max(pump, valve), changes={"pump_on": True, "valve_open": True}, group=group),
        Event(time=off, changes={"pump_on": False}, group=group),
        Event(time=off + 12, changes={"valve_open": False}, group=group),
    ]


def habitual_loads(scenario: Scenario) -> list[tuple[float, float, float]]:
    """Start in seconds, amount in m3, and how late the valve is, of every load by habit."""
    plan, draw = scenario.people, generator(scenario.seed, "loads")
    if not plan.loads_per_day and not plan.storm_nights_per_month:
        return []
    local_midnight = -((scenario.start_ms / 1000 + scenario.weather.local_hours * 3600) % 86400)
    result: list[tuple[float, float, float]] = []
    for day in range(math.ceil(scenario.duration / 86400) + 1):
        midnight = local_midnight + day * 86400
        starts = list(6.5 * 3600 + 9 * 3600 * draw.random(int(draw.poisson(plan.loads_per_day))))
        if draw.random() < plan.storm_nights_per_month / 30:
            count = int(draw.poisson(plan.storm_loads))
            starts += list(19 * 3600 + 10 * 3600 * draw.random(count))
        for start in sorted(starts):
            amount = float(draw.choice(plan.truck_sizes_m3)) * float(draw.uniform(0.85, 1.0))
            late = float(draw.exponential(40.0)) if draw.random() < plan.valve_late_share else 0.0
            result.append((midnight + float(start), amount, min(late, 90.0)))
    return _one_after_another(result, scenario.duration)


def _one_after_another(
    loads: list[tuple[float, float, float]], until: float
) -> list[tuple[float, float, float]]:
    """Trucks queue: none starts while another loads, nor before the run or after its end."""
    result = []
    free = 0.0
    for start, amount, late in sorted(loads):
        begins = max(start, free)
        lasts = amount / NOMINAL_FLOW_M3_PER_S + late + 30
        if start >= 60 and begins + lasts < until and begins - start < 3 * 3600:
            result.append((begins, amount, late))
            free = begins + lasts + 240
    return result


def habitual_tests(scenario: Scenario) -> list[float]:
    """When somebody tests the brine by habit: weekday mornings, on average so many a week."""
    plan, draw = scenario.people, generator(scenario.seed, "tests")
    midnight = -((scenario.start_ms / 1000 + scenario.weather.local_hours * 3600) % 86400)
    days = math.ceil(scenario.duration / 86400) + 1
    times = []
    for day in range(days):
        at = midnight + day * 86400 + 7 * 3600 + 7200 * float(draw.random())
        if draw.random() < plan.tests_per_week / 7 and 0 < at < scenario.duration:
            times.append(at)
    return times


def hydrometer_reading(
    plan: PeoplePlan,
    draw: np.random.Generator,
    *,
    strength: float,
    temperature_c: float,
    error_sg: float = 0.0,
) -> Mapping[str, float | str]:
    """What a person reads: specific gravity on a 60/60 degF scale at the sample's temperature.

    Not corrected: the hydrometer floats in the brine as it is, and the temperature is given with
    it. `error_sg` adds a known mistake to the reader's own scatter.
    """
    density = density_from_mass_fraction(strength, temperature_c)
    true = density / water_density(SIXTY_F) * (1 + GLASS_PER_K * (temperature_c - SIXTY_F))
    read = true + error_sg + plan.test_error_sg * float(draw.standard_normal())
    thermometer = temperature_c + plan.test_error_c * float(draw.standard_normal())
    return {
        "vessel": "main",
        "specific_gravity": round(read * 2000) / 2000,
        "scale": "60/60 degF",
        "temperature_c": round(thermometer * 2) / 2,
    }


BUCKETS = 15
BUCKET_SECONDS = 60.0
TIPPING_SECONDS = BUCKETS * BUCKET_SECONDS
MOST_BED_M = 1.30


def salt_events(at: float, kg: float) -> list[Event]:
    """Salt tipped into the hopper bucket by bucket, a bucket a minute."""
    return [Event(time=at + i * BUCKET_SECONDS, salt_kg=kg / BUCKETS) for i in range(BUCKETS)]


def salt_that_fits(
    plan: PeoplePlan, *, room_m3: float, bed_m: float, kg_per_m: float, solid_density: float
) -> float:
    """How much salt somebody tips in, in kg: what the bed lacks, never more than there is room for.

    Salt drives its own volume of brine over the weir, so it needs room in the main tank.
    """
    fits = min(plan.refill_kg, (MOST_BED_M - bed_m) * kg_per_m, room_m3 * solid_density)
    return fits if fits >= 0.1 * plan.refill_kg else 0.0
