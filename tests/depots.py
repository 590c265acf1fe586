"""A small depot for tests of the pure core, and a short way to write its readings."""

from dataclasses import replace

from brineward.physics.conductivity import conductivity
from brineward.plant.plan import (
    AlarmSettings,
    DepotPlan,
    Duty,
    Fill,
    Measure,
    Pump,
    SensorPlan,
    Valve,
    Vessel,
    VesselKind,
)
from brineward.plant.shapes import UprightCylinder
from brineward.readings.entries import HandTest
from brineward.readings.instants import SECOND, Instant, instant_from_rfc3339
from brineward.readings.values import Reading

START = instant_from_rfc3339("2026-01-14T18:00:00Z")
"""Noon in the depot's UTC-6."""

DEPOT = "tern-hollow"


def sensor(name: str, measures: Measure, at: str, **changes: object) -> SensorPlan:
    """A sensor with ordinary settings."""
    plain = SensorPlan(
        id=name,
        measures=measures,
        at=at,
        low=-100.0,
        high=100.0,
        standard_uncertainty=0.003,
        every_seconds=10.0,
        silent_after_seconds=60.0,
        on_change=measures.is_switch,
    )
    return replace(plain, **changes)


def plan(**changes: object) -> DepotPlan:
    """Tern Hollow: one tank, one pump with its valve, a shelter.

    Its tank stands below its mark in most tests: `not-filling` is off, with tests of its own.
    """
    sensors = (
        sensor("level", Measure.LEVEL, "main", low=0.0, high=2.6),
        sensor(
            "cond",
            Measure.CONDUCTIVITY,
            "main",
            low=0.0,
            high=40.0,
            standard_uncertainty=0.1,
            mounted_m=0.3,
        ),
        sensor("temp", Measure.TEMPERATURE, "main", standard_uncertainty=0.2),
        sensor("shelter", Measure.TEMPERATURE, "shelter", standard_uncertainty=0.2),
        sensor("running", Measure.RUNNING, "pump"),
        sensor("valve", Measure.OPEN, "hose-valve"),
    )
    plain = DepotPlan(
        id=DEPOT,
        name="Tern Hollow",
        short="TH",
        vessels={
            "main": Vessel(
                id="main",
                kind=VesselKind.MAIN,
                shape=UprightCylinder(diameter_m=2.4),
                brim_m=2.4,
                fill_mark_m=2.2,
            )
        },
        fills=(Fill(into="main", flow_m3_per_s=0.9e-3),),
        pumps={
            "pump": Pump(id="pump", draws_from="main", flow_m3_per_s=3.6e-3, valves=("hose-valve",))
        },
        valves={"hose-valve": Valve(id="hose-valve")},
        has_shelter=True,
        sensors={one.id: one for one in sensors},
        alarms={"not-filling": AlarmSettings(enabled=False)},
        duty=Duty(on_call=("yard", "dispatch"), names={"yard": "Yard lead"}),
    )
    return replace(plain, **changes)


def reading(name: str, seconds: float, value: float | None, lag: float = 0.0) -> Reading:
    """A reading so many seconds after `START`, arriving `lag` seconds later."""
    time = START + round(seconds * SECOND)
    return Reading(DEPOT, name, time, value, time + round(lag * SECOND))


def brine(mass_fraction: float, temperature_c: float) -> float:
    """What a perfect probe reads, S/m."""
    return conductivity(mass_fraction, temperature_c)


def by_hand(at: Instant, strength: float = 0.233, *, cleaned: bool = False) -> HandTest:
    """A test of the main tank with a good hydrometer, entered at once."""
    return HandTest(
        depot=DEPOT,
        time=at,
        received=at,
        vessel="main",
        at=at,
        mass_fraction=strength,
        standard_uncertainty=0.0013,
        by="yard",
        cleaned=cleaned,
    )
