"""Many strengths with their uncertainties at once: the same answers as one by one."""

from typing import Any

import numpy as np
import pytest

from brineward.physics.conductivity import conductivity
from brineward.physics.liquid_lines import least_liquid, most_liquid
from brineward.physics.refusals import NotBrine
from brineward.physics.salinities import BOUNDS, REFUSALS, Salinities, salinities
from brineward.physics.salinity import Salinity, salinity

ALIKE = 1e-11
"""In mass fraction: both are exact to the last digits of a float, the curve is flat in the cold."""

INSTRUMENTS: list[dict[str, Any]] = [
    {"conductivity_standard_uncertainty": 0.1, "temperature_standard_uncertainty": 0.2},
    {
        "conductivity_standard_uncertainty": 0.02,
        "temperature_standard_uncertainty": 0.1,
        "lag_standard_uncertainty_c": 0.3,
        "calibration_factor": 1.03,
        "calibration_standard_uncertainty": 0.005,
        "impurity_standard_uncertainty": 0.004,
        "calibrated_at_c": 8.0,
    },
    {
        "conductivity_standard_uncertainty": 2.0,
        "temperature_standard_uncertainty": 3.0,
        "model_share": 0.4,
    },
    {"conductivity_standard_uncertainty": 0.0, "temperature_standard_uncertainty": 0.0},
]


def _one(reading: float, temperature_c: float, **budget: Any) -> Salinity | str:
    try:
        return salinity(reading, temperature_c, **budget)
    except NotBrine as refusal:
        return refusal.reason


def _assert_alike(found: Salinities, place: int, one: Salinity | str) -> None:
    if isinstance(one, str):
        assert REFUSALS[found.refusal[place]] == one
        assert np.isnan([row[place] for row in found[:4]]).all()
        return
    assert REFUSALS[found.refusal[place]] is None
    assert BOUNDS[found.bound[place]] == one.bound
    assert found.mass_fraction[place] == pytest.approx(one.mass_fraction, abs=ALIKE)
    assert found.standard_uncertainty[place] == pytest.approx(one.standard_uncertainty, abs=ALIKE)
    assert found.lowest_95[place] == pytest.approx(one.interval_95[0], abs=ALIKE)
    assert found.highest_95[place] == pytest.approx(one.interval_95[1], abs=ALIKE)


@pytest.mark.parametrize("budget", INSTRUMENTS)
def test_they_are_the_scalar_answers(budget: dict[str, Any]) -> None:
    """6,000 readings, most of brine, some of no brine at all: value, interval, u, bound, refusal.

    Among them is every refusal and both bounds, or the test would show little.
    """
    draw = np.random.default_rng(11)
    warm = draw.uniform(-22.5, 41.0, 6000)
    conducts = np.concatenate([draw.uniform(-0.01, 45.0, 2000), np.empty(4000)])
    for i in range(2000, 6000):
        t = min(max(warm[i], -21.1), 40.0)
        least, most = least_liquid(t), most_liquid(t)
        strength = least + (most - least) * draw.uniform(-0.1, 1.0)
        conducts[i] = conductivity(max(strength, 0.0), t) * draw.uniform(0.97, 1.03)
    conducts[:20] = 0.0005
    found = salinities(conducts, warm, **budget)
    for place in range(6000):
        one = _one(float(conducts[place]), float(warm[place]), **budget)
        _assert_alike(found, place, one)
    assert set(found.refusal.tolist()) == set(range(len(REFUSALS)))
    if budget["conductivity_standard_uncertainty"] > 0.0:
        assert set(found.bound.tolist()) == set(range(len(BOUNDS)))


def test_each_value_may_have_its_own_instruments() -> None:
    """Arrays for every part of the budget: the third's uncertainty is not the second's."""
    budget = {
        "conductivity_standard_uncertainty": np.array([0.1, 0.2, -0.1, 0.1]),
        "temperature_standard_uncertainty": np.array([0.1, 0.5, 0.1, float("nan")]),
        "lag_standard_uncertainty_c": np.array([0.0, 0.2, 0.0, 0.0]),
        "calibration_factor": np.array([1.0, 1.05, 1.0, 1.0]),
        "calibration_standard_uncertainty": np.array([0.0, 0.01, 0.0, 0.0]),
        "impurity_standard_uncertainty": np.array([0.0, 0.02, 0.0, 0.0]),
        "model_share": np.array([1.0, 0.5, 1.0, 1.0]),
    }
    found = salinities(np.full(4, 20.0), np.full(4, 15.0), **budget)
    for place in range(4):
        own = {name: float(values[place]) for name, values in budget.items()}
        _assert_alike(found, place, _one(20.0, 15.0, **own))
    assert [REFUSALS[code] for code in found.refusal] == [None, None, *["out-of-range"] * 2]


@pytest.mark.parametrize(
    ("name", "value"),
    [
        ("conductivity_standard_uncertainty", float("inf")),
        ("temperature_standard_uncertainty", -0.1),
        ("lag_standard_uncertainty_c", float("nan")),
        ("calibration_factor", 0.0),
        ("calibration_standard_uncertainty", -1.0),
        ("impurity_standard_uncertainty", 1e7),
        ("model_share", 1.1),
        ("calibrated_at_c", float("nan")),
    ],
)
def test_a_budget_that_is_no_sane_number_is_refused(name: str, value: float) -> None:
    """Each part of the budget by itself, as one by one."""
    budget = {**INSTRUMENTS[0], name: value}
    found = salinities(np.array([20.0]), np.array([15.0]), **budget)
    _assert_alike(found, 0, _one(20.0, 15.0, **budget))
    assert REFUSALS[found.refusal[0]] == "out-of-range"


@pytest.mark.parametrize(
    ("reading", "temperature_c"),
    [
        (float("nan"), 15.0),
        (20.0, float("nan")),
        (float("inf"), 15.0),
        (-5.0, 15.0),
        (0.0, 15.0),
        (20.0, 1e300),
        (5.0, -25.0),
        (5.0, -25.1),
    ],
)
def test_odd_readings_are_refused_alike(reading: float, temperature_c: float) -> None:
    """Not a number, infinite, negative, far out: the same reason as one by one."""
    found = salinities(np.array([reading]), np.array([temperature_c]), **INSTRUMENTS[0])
    one = _one(reading, temperature_c, **INSTRUMENTS[0])
    assert isinstance(one, str)
    _assert_alike(found, 0, one)


def test_shapes_join_as_in_numpy() -> None:
    """A column of readings and a row of temperatures make a table; what can't be joined says so."""
    found = salinities(np.full((3, 1), 20.0), np.linspace(14.0, 30.0, 4), **INSTRUMENTS[0])
    assert {row.shape for row in found} == {(3, 4)}
    assert (np.diff(found.mass_fraction, axis=1) < 0.0).all()
    with pytest.raises(ValueError, match="shape"):
        salinities(np.ones(3), np.ones(4), **INSTRUMENTS[0])
