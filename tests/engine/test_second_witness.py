"""Density beside conductivity: weighed together, and questioned when the two part."""

import pytest

from brineward.decode.hand_tests import hand_test
from brineward.engine.engine import Engine
from brineward.physics.density import density
from brineward.physics.hydrometer import specific_gravity
from brineward.plant.plan import DepotPlan, Measure
from brineward.readings.instants import HOUR, SECOND
from brineward.readings.outputs import AlarmChanged, Derived, Output
from depots import DEPOT, START, brine, plan, reading, sensor

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
    """With both measurements the interval is less than half as wide, though nothing was tested."""
    alone = last_strength(played(plan(), true=0.233, by_density=0.233, hours=0.3))
    both = last_strength(played(depot, true=0.233, by_density=0.233, hours=0.3))
    assert both.value == pytest.approx(0.233, abs=1e-4)
    assert both.standard_uncertainty < at_most < alone.standard_uncertainty / 2


@pytest.mark.parametrize("depot", [with_meter(), with_pressures()], ids=["meter", "pressures"])
def test_witnesses_that_part_are_told(depot: DepotPlan) -> None:
    """Five percent apart for half an hour in a standing tank: a question, with the likelier one."""
    outputs = played(depot, true=0.19, by_density=0.24, hours=0.8)
    told = [o for o in outputs if isinstance(o, AlarmChanged) and o.alarm == "strengths-disagree"]
    assert [o.state for o in told] == ["unacknowledged"]
    assert "probe 19.0%, density 24.0%" in told[0].sentence


def test_witnesses_that_agree_are_not_questioned() -> None:
    """Half a percent apart is what honest error does."""
    outputs = played(with_meter(), true=0.228, by_density=0.233, hours=0.8)
    assert not [
        o for o in outputs if isinstance(o, AlarmChanged) and o.alarm == "strengths-disagree"
    ]


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


def stood_and_tested(*, off_kg_per_m3: float, engine: Engine) -> list[Output]:
    """Half a day in a tank of 23.3 % with a meter that is off, and then a test of it."""
    says = {
        "level": 2.2,
        "temp": TEMPERATURE_C,
        "dens": density(0.233, TEMPERATURE_C) + off_kg_per_m3,
        "cond": brine(0.233, TEMPERATURE_C),
    }
    found: list[Output] = []
    for seconds in range(0, 13 * 3600, 60):
        if seconds == 12 * 3600:
            mark = round(specific_gravity(0.233, TEMPERATURE_C), 4)
            fields = {"vessel": "main", "specific_gravity": mark, "temperature_c": TEMPERATURE_C}
            at = START + 12 * HOUR - SECOND
            found += engine.step(hand_test(fields, depot=DEPOT, now=at))
        for name, value in says.items():
            found += engine.step(reading(name, seconds, value))
    return found


def test_a_meter_that_a_test_shows_to_be_off_is_asked_about() -> None:
    """5 kg/m3 (0.6 % of salt) hides in an untested probe's doubt, but not from the first test:
    the question names the meter, and until it is answered the interval reaches to the truth."""
    outputs = stood_and_tested(off_kg_per_m3=5.0, engine=Engine({DEPOT: with_meter()}))
    told = [o for o in outputs if isinstance(o, AlarmChanged) and o.alarm == "strengths-disagree"]
    assert [o.state for o in told] == ["unacknowledged"]
    assert "density meter and hydrometer tests disagree" in told[0].sentence
    last = last_strength(outputs)
    assert last.low_95 is not None
    assert last.low_95 <= 0.233


def test_a_meter_that_is_right_is_not_asked_about_after_a_test() -> None:
    """What a test and a look at standing brine agree on is surer than either, and no question."""
    outputs = stood_and_tested(off_kg_per_m3=0.5, engine=Engine({DEPOT: with_meter()}))
    assert not [
        o for o in outputs if isinstance(o, AlarmChanged) and o.alarm == "strengths-disagree"
    ]
    last = last_strength(outputs)
    assert last.value == pytest.approx(0.233, abs=8e-4)
    assert last.standard_uncertainty < 0.00145


def test_what_the_looks_showed_of_the_meter_outlives_a_restart() -> None:
    """An engine made from the snapshot tells the same strength as the one that went on."""
    depots = {DEPOT: with_meter()}
    engine = Engine(depots)
    stood_and_tested(off_kg_per_m3=3.0, engine=engine)
    again = Engine(depots)
    again.restore(engine.snapshots())
    late = [
        ("temp", TEMPERATURE_C),
        ("dens", density(0.233, TEMPERATURE_C) + 3.0),
        ("cond", brine(0.234, TEMPERATURE_C)),
    ]
    told = [
        last_strength([o for n, v in late for o in one.step(reading(n, 13 * 3600 + 60, v))])
        for one in (engine, again)
    ]
    assert told[0] == told[1]
