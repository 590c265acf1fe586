"""Density beside conductivity: weighed together, and questioned when the two part."""

import pytest

from brineward.engine.engine import Engine
from brineward.physics.density import density
from brineward.plant.plan import DepotPlan, Measure
from brineward.readings.outputs import AlarmChanged, Derived, Output
from depots import DEPOT, brine, plan, reading, sensor

TEMPERATURE_C = 8.0
GRAVITY = 9.80665


def with_meter() -> DepotPlan:
    """Tern Hollow with an inline density meter good to 1 kg/m3."""
    plain = plan()
    meter = sensor(
        "dens", Measure.DENSITY, "main", low=900.0, high=1300.0, standard_uncertainty=1.0
    )
    return plan(sensors={**plain.sensors, "dens": meter})


def with_pressures() -> DepotPlan:
    """Tern Hollow with two pressure probes, a metre apart, of 15 Pa each."""
    sides = {
        name: sensor(
            name,
            Measure.PRESSURE,
            "main",
            low=-1e3,
            high=1e5,
            standard_uncertainty=15.0,
            mounted_m=height,
        )
        for name, height in (("lower", 0.3), ("upper", 1.3))
    }
    return plan(sensors={**plan().sensors, **sides})


def played(depot: DepotPlan, *, true: float, by_density: float, hours: float) -> list[Output]:
    """A standing tank of which conductivity says `true` and density says `by_density`."""
    engine = Engine({DEPOT: depot})
    heavy = density(by_density, TEMPERATURE_C)
    says = {
        "level": 2.2,
        "temp": TEMPERATURE_C,
        "dens": heavy,
        "lower": heavy * GRAVITY * 1.9,
        "upper": heavy * GRAVITY * 0.9,
        "cond": brine(true, TEMPERATURE_C),
    }
    found: list[Output] = []
    for seconds in range(0, round(hours * 3600), 10):
        for name, value in says.items():
            if name in depot.sensors:
                found += engine.step(reading(name, seconds, value))
    return found


def last_strength(outputs: list[Output]) -> Derived:
    """The newest strength."""
    return [o for o in outputs if isinstance(o, Derived) and o.name == "main-strength"][-1]


@pytest.mark.parametrize(
    ("depot", "at_most"),
    [(with_meter(), 0.0035), (with_pressures(), 0.004)],
    ids=["meter", "pressures"],
)
def test_density_makes_the_strength_surer(depot: DepotPlan, at_most: float) -> None:
    """With both witnesses the interval is less than half as wide, though nothing was tested."""
    alone = last_strength(played(plan(), true=0.233, by_density=0.233, hours=0.3))
    both = last_strength(played(depot, true=0.233, by_density=0.233, hours=0.3))
    assert both.value == pytest.approx(0.233, abs=1e-4)
    assert both.standard_uncertainty < at_most < alone.standard_uncertainty / 2


@pytest.mark.parametrize("depot", [with_meter(), with_pressures()], ids=["meter", "pressures"])
def test_witnesses_that_part_are_told(depot: DepotPlan) -> None:
    """Five percent apart for half an hour in a standing tank: a question, with the likelier one."""
    outputs = played(depot, true=0.19, by_density=0.24, hours=0.8)
    told = [o for o in outputs if isinstance(o, AlarmChanged) and o.alarm == "witnesses-part"]
    assert [o.state for o in told] == ["unacknowledged"]
    assert "probe 19.0%, density 24.0%" in told[0].sentence


def test_witnesses_that_agree_are_not_questioned() -> None:
    """Half a percent apart is what honest error does."""
    outputs = played(with_meter(), true=0.228, by_density=0.233, hours=0.8)
    assert not [o for o in outputs if isinstance(o, AlarmChanged) and o.alarm == "witnesses-part"]


def test_a_silent_meter_leaves_conductivity_alone() -> None:
    """Density that is no longer fresh weighs nothing: the interval is conductivity's again."""
    engine = Engine({DEPOT: with_meter()})
    outputs: list[Output] = []
    for seconds in range(0, 900, 10):
        says = {"level": 2.2, "temp": TEMPERATURE_C, "cond": brine(0.233, TEMPERATURE_C)}
        if seconds < 300:
            says = {"dens": density(0.233, TEMPERATURE_C), **says}
        for name, value in says.items():
            outputs += engine.step(reading(name, seconds, value))
    assert last_strength(outputs).standard_uncertainty > 0.007
