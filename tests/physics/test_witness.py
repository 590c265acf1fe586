"""Conductivity and density as two measurements of one strength."""

import math
import random

import pytest
from hypothesis import given
from hypothesis import strategies as st

from brineward.physics.conductivity import conductivity
from brineward.physics.density import density, extended_mass_fraction, salinity_from_density
from brineward.physics.refusals import NotBrine
from brineward.physics.salinity import Salinity, mass_fraction_from_conductivity, salinity
from brineward.physics.witness import (
    Conditions,
    DensityFrom,
    combine,
    question,
    temperature_covariance,
)

TRUE = 0.22
THERMOMETER_K = 0.3
PROBE_RELATIVE = 0.01
DENSITY_KG_PER_M3 = 1.5


def _conditions(temperature_c: float, density_from: DensityFrom = "pressure") -> Conditions:
    return Conditions(
        temperature_c=temperature_c,
        temperature_standard_uncertainty=THERMOMETER_K,
        density_from=density_from,
    )


def _by_conductivity(reading: float, temperature_c: float) -> Salinity:
    return salinity(
        reading,
        temperature_c,
        conductivity_standard_uncertainty=PROBE_RELATIVE * reading,
        temperature_standard_uncertainty=THERMOMETER_K,
    )


def _by_density(reading: float, temperature_c: float) -> Salinity:
    return salinity_from_density(
        reading,
        temperature_c,
        density_standard_uncertainty_kg_per_m3=DENSITY_KG_PER_M3,
        temperature_standard_uncertainty=THERMOMETER_K,
    )


@pytest.mark.parametrize("temperature_c", [-5.0, 5.0, 20.0, 35.0])
def test_the_covariance_is_what_a_thousand_thermometers_make(temperature_c: float) -> None:
    """The closed form against drawn thermometer errors, within the noise of the draw."""
    draw = random.Random(1)
    reading, weight = conductivity(TRUE, temperature_c), density(TRUE, temperature_c)
    pairs = []
    for _ in range(4000):
        read_c = temperature_c + draw.gauss(0.0, 0.1)
        pairs.append(
            (
                mass_fraction_from_conductivity(reading, read_c) - TRUE,
                _by_density(weight, read_c).mass_fraction - TRUE,
            )
        )
    drawn = sum(first * second for first, second in pairs) / len(pairs)
    conditions = Conditions(temperature_c=temperature_c, temperature_standard_uncertainty=0.1)
    assert temperature_covariance(TRUE, conditions) == pytest.approx(drawn, rel=0.08)


def test_the_combined_interval_holds_the_truth_as_often_as_it_says() -> None:
    """Of 2,000 drawn pairs at 10 degC the intervals of 95 % hold the truth in 93 to 99 %.

    The draw has no model error, which the intervals allow for: hence the upper side.
    """
    draw = random.Random(2)
    reading, weight, held = conductivity(TRUE, 10.0), density(TRUE, 10.0), 0
    for _ in range(2000):
        read_c = 10.0 + draw.gauss(0.0, THERMOMETER_K)
        both = combine(
            _by_conductivity(reading * (1 + draw.gauss(0.0, PROBE_RELATIVE)), read_c),
            _by_density(weight + draw.gauss(0.0, DENSITY_KG_PER_M3), read_c),
            _conditions(read_c),
        )
        low, high = both.interval_95
        held += low <= TRUE <= high
    assert 0.93 < held / 2000 < 0.99


def test_two_witnesses_are_surer_than_the_surer_one() -> None:
    """At 10 degC the pair beats density alone, and a shared thermometer helps rather than harms."""
    one = _by_conductivity(conductivity(TRUE, 10.0), 10.0)
    two = _by_density(density(TRUE, 10.0), 10.0)
    shared = combine(one, two, _conditions(10.0))
    apart = combine(one, two, Conditions(temperature_c=10.0, temperature_standard_uncertainty=0.0))
    surer = min(one.standard_uncertainty, two.standard_uncertainty)
    assert shared.standard_uncertainty < apart.standard_uncertainty < surer
    assert shared.mass_fraction == pytest.approx(TRUE, abs=1e-4)


@given(
    st.tuples(st.floats(0.16, 0.25), st.floats(1e-4, 0.03)),
    st.tuples(st.floats(0.16, 0.25), st.floats(1e-4, 0.03)),
    st.floats(-9.0, 39.0),
    st.floats(0.0, 2.0),
)
def test_the_pair_is_never_less_sure_and_never_outside_both(
    by_conductivity: tuple[float, float],
    by_density: tuple[float, float],
    temperature_c: float,
    thermometer: float,
) -> None:
    """It lies between the two; surer where they agree, spanning both where they do not."""
    (first, u1), (second, u2) = by_conductivity, by_density
    one = Salinity(first, u1, (first - 2 * u1, first + 2 * u1))
    two = Salinity(second, u2, (second - 2 * u2, second + 2 * u2))
    conditions = Conditions(
        temperature_c=temperature_c, temperature_standard_uncertainty=thermometer
    )
    both = combine(one, two, conditions)
    assert min(first, second) - 1e-12 <= both.mass_fraction <= max(first, second) + 1e-12
    if question(one, two, conditions) is None:
        assert both.standard_uncertainty <= min(u1, u2) * (1 + 1e-9)
    else:
        assert both.interval_95[0] <= min(first, second)
        assert both.interval_95[1] >= max(first, second)
    assert both.interval_95[0] <= both.mass_fraction <= both.interval_95[1]


def test_honest_witnesses_are_not_questioned() -> None:
    """Readings of the same brine raise no question."""
    one = _by_conductivity(conductivity(TRUE, 10.0), 10.0)
    assert question(one, _by_density(density(TRUE, 10.0), 10.0), _conditions(10.0)) is None


SUSPECTS = [
    # A probe 8 % low, as by a film or air; density is right.
    (0.92, 0.0, "pressure", "conductivity-low"),
    # A pressure zero 300 Pa up or down: 30 kg/m3 over a metre.
    (1.0, 30.0, "pressure", "pressure"),
    (1.0, -30.0, "pressure", "pressure"),
    # Gas in an inline meter; a hydrometer misread by eight marks.
    (1.0, -10.0, "meter", "density-meter"),
    (1.0, 8.0, "test", "test"),
]


@pytest.mark.parametrize(("factor", "heavier", "density_from", "culprit"), SUSPECTS)
@pytest.mark.parametrize("temperature_c", [0.0, 10.0, 25.0])
def test_who_has_moved_since_they_agreed_is_the_culprit(
    factor: float,
    heavier: float,
    density_from: DensityFrom,
    culprit: str,
    temperature_c: float,
) -> None:
    """With the strength on which they last agreed, the error that was built in is named first."""
    reading = conductivity(TRUE, temperature_c) * factor
    weight = density(TRUE, temperature_c) + heavier
    conditions = Conditions(
        temperature_c=temperature_c,
        temperature_standard_uncertainty=THERMOMETER_K,
        density_from=density_from,
        last_agreed=TRUE,
    )
    raised = question(
        Salinity(mass_fraction_from_conductivity(reading, temperature_c), 0.003, (0.0, 0.26)),
        Salinity(extended_mass_fraction(weight, temperature_c), 0.001, (0.0, 0.26)),
        conditions,
    )
    assert raised is not None
    assert raised.culprit == culprit
    assert raised.chance < 0.05
    assert "likelier:" in raised.sentence


def test_a_warm_thermometer_can_pass_for_a_fouled_probe_and_both_are_named() -> None:
    """1.5 degC high reads like 3.5 % of film: the question keeps the thermometer on its list."""
    reading, weight, read_c = conductivity(TRUE, 10.0), density(TRUE, 10.0), 11.5
    raised = question(
        Salinity(mass_fraction_from_conductivity(reading, read_c), 0.004, (0.0, 0.26)),
        Salinity(extended_mass_fraction(weight, read_c), 0.002, (0.0, 0.26)),
        _conditions(read_c),
    )
    assert raised is not None
    assert "thermometer" in (raised.culprit, *raised.others)
    assert "conductivity-high" not in (raised.culprit, *raised.others)


def test_a_probe_that_reads_high_and_a_cold_thermometer_are_named_together() -> None:
    """4 % high reads like 1.6 degC too cold; no two readings part them, so both come first."""
    told = mass_fraction_from_conductivity(conductivity(TRUE, 10.0) * 1.04, 10.0)
    conditions = Conditions(
        temperature_c=10.0, temperature_standard_uncertainty=THERMOMETER_K, last_agreed=TRUE
    )
    raised = question(
        Salinity(told, 0.003, (0.0, 0.26)), Salinity(TRUE, 0.002, (0.0, 0.26)), conditions
    )
    assert raised is not None
    assert {raised.culprit, raised.others[0]} == {"thermometer", "conductivity-high"}


def test_a_meter_with_gas_is_asked_about_as_a_meter() -> None:
    """What is named depends on how density was had."""
    one = Salinity(0.233, 0.001, (0.231, 0.235))
    two = Salinity(0.226, 0.001, (0.224, 0.228))
    raised = question(one, two, _conditions(20.0, "meter"))
    assert raised is not None
    assert {raised.culprit, *raised.others} == {
        "conductivity-high",
        "thermometer",
        "density-meter",
    }


def test_the_sizes_named_would_explain_the_difference() -> None:
    """Fouling of the size that is named makes conductivity say what it said."""
    reading = conductivity(TRUE, 20.0) * 0.9
    told = mass_fraction_from_conductivity(reading, 20.0)
    raised = question(
        Salinity(told, 0.002, (0.0, 0.26)), Salinity(TRUE, 0.001, (0.0, 0.26)), _conditions(20.0)
    )
    assert raised is not None
    assert raised.culprit == "conductivity-low"
    size = float(raised.sentence.rsplit("reads ", 1)[1].split("%", maxsplit=1)[0])
    assert size == pytest.approx(10.0, abs=2.5)  # linearised at the true strength


@pytest.mark.parametrize("bad", [0.0, math.nan, math.inf, -1.0])
def test_a_witness_without_uncertainty_is_not_weighed(bad: float) -> None:
    """Nothing is weighed by an uncertainty that cannot be."""
    with pytest.raises(NotBrine):
        combine(
            Salinity(0.2, bad, (0.19, 0.21)), Salinity(0.2, 0.01, (0.18, 0.22)), _conditions(10.0)
        )
