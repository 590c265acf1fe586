"""Density of brine against published tables and independent libraries, and its inverse."""

import math

import pytest
from CoolProp import CoolProp
from hypothesis import given
from hypothesis import strategies as st
from thermo.electrochem import Laliberte_density

from brineward.physics.density import (
    density,
    density_per_kelvin,
    density_per_mass_fraction,
    density_standard_uncertainty,
    extended_mass_fraction,
    salinity_from_density,
)
from brineward.physics.freezing import ice_line_mass_fraction
from brineward.physics.refusals import NotBrine
from brineward.physics.saturation import saturation_mass_fraction
from brineward.physics.water import water_density
from brineward.published import (
    DensityRow,
    FreezingRow,
    SolubilityRow,
    density_rows,
    freezing_rows,
    solubility_rows,
)

ICE_ROWS = [row for row in freezing_rows() if row.solid_phase == "ice"]


@pytest.mark.parametrize("row", density_rows(), ids=str)
def test_density_is_the_published_one(row: DensityRow) -> None:
    """Within 0.02 % of the CRC Handbook, Perry's and Poradnik fizykochemiczny."""
    assert density(row.mass_fraction, row.temperature_c) == pytest.approx(
        row.density_kg_per_m3, rel=2e-4
    )


@pytest.mark.parametrize("temperature_c", [4, 10, 15.56, 20, 30, 40])
def test_water_is_the_iapws_water(temperature_c: float) -> None:
    """Kell's formula within 0.0004 % of IAPWS-95 (CoolProp): another temperature scale apart."""
    theirs = CoolProp.PropsSI("D", "T", temperature_c + 273.15, "P", 101325, "Water")
    assert water_density(temperature_c) == pytest.approx(theirs, rel=4e-6)


# The range in which CoolProp's INCOMP::MNA answers: liquid, up to 23 %.
COLD = [(-5, 0.10), (-5, 0.2), (-10, 0.15), (-10, 0.2), (-10, 0.229), (-15, 0.2), (-19, 0.229)]
MILD = [(temperature_c, w) for temperature_c in (0, 10, 25, 40) for w in (0.02, 0.1, 0.2, 0.229)]


@pytest.mark.parametrize(("temperature_c", "mass_fraction"), COLD + MILD)
def test_density_agrees_with_melinders_tables(temperature_c: float, mass_fraction: float) -> None:
    """CoolProp's INCOMP::MNA, not fitted here, agrees within 0.04 %, down to the freezing line."""
    theirs = CoolProp.PropsSI(
        "D", "T", temperature_c + 273.15, "P", 101325, f"INCOMP::MNA[{mass_fraction}]"
    )
    assert density(mass_fraction, temperature_c) == pytest.approx(theirs, rel=4e-4)


@pytest.mark.parametrize("temperature_c", [0, 10, 20, 30, 40])
@pytest.mark.parametrize("mass_fraction", [0.01, 0.1, 0.2, 0.233, 0.26])
def test_density_agrees_with_laliberte_and_cooper(
    temperature_c: float, mass_fraction: float
) -> None:
    """Their 2004 model as coded in `thermo` agrees within 0.1 % at 0 to 40 degC."""
    theirs = Laliberte_density(temperature_c + 273.15, [mass_fraction], ["7647-14-5"])
    assert density(mass_fraction, temperature_c) == pytest.approx(theirs, rel=1e-3)


liquid = st.tuples(st.floats(0.0, 0.26), st.floats(-21.0, 50.0))


@given(liquid)
def test_density_rises_with_salt_and_is_a_number(point: tuple[float, float]) -> None:
    """More salt weighs more everywhere, or a density could mean two strengths."""
    mass_fraction, temperature_c = point
    assert 980.0 < density(mass_fraction, temperature_c) < 1230.0
    assert 600.0 < density_per_mass_fraction(mass_fraction, temperature_c) < 1000.0


@given(st.floats(0.0, 1.0), st.floats(-21.0, 50.0))
def test_warm_brine_is_lighter(share: float, temperature_c: float) -> None:
    """From 10 % up liquid brine has no density maximum, so it expands all the way."""
    least = max(0.1, ice_line_mass_fraction(temperature_c))
    mass_fraction = least + share * (saturation_mass_fraction(temperature_c) - least)
    assert density_per_kelvin(mass_fraction, temperature_c) < 0.0


@given(st.floats(0.0, 1.0), st.floats(-21.0, 50.0))
def test_the_inverse_gives_the_strength_back(share: float, temperature_c: float) -> None:
    """Strength to density and back, up to saturation."""
    mass_fraction = share * saturation_mass_fraction(temperature_c)
    back = extended_mass_fraction(density(mass_fraction, temperature_c), temperature_c)
    assert back == pytest.approx(mass_fraction, abs=1e-9)


def test_a_degree_costs_little_and_a_kilogram_an_eighth_of_a_percent() -> None:
    """Near 23 % 1 degC is worth 0.06 % by mass, and 1 kg/m3 0.12 % (CRC: 8.2 kg/m3 per percent)."""
    sure = salinity_from_density(
        density(0.233, 10.0),
        10.0,
        density_standard_uncertainty_kg_per_m3=1.0,
        temperature_standard_uncertainty=0.0,
    )
    assert sure.standard_uncertainty == pytest.approx(0.00123, abs=0.00004)
    thermal = density_per_kelvin(0.233, 10.0) / density_per_mass_fraction(0.233, 10.0)
    assert thermal == pytest.approx(-0.0006, abs=0.0001)


@given(
    st.floats(900.0, 1300.0),
    st.floats(-30.0, 60.0),
    st.floats(0.0, 50.0),
    st.floats(0.0, 5.0),
)
def test_a_density_is_judged_or_refused(
    measured: float, temperature_c: float, uncertainty: float, thermometer: float
) -> None:
    """Whatever comes in, the interval holds the value and what is liquid holds the interval."""
    try:
        found = salinity_from_density(
            measured,
            temperature_c,
            density_standard_uncertainty_kg_per_m3=uncertainty,
            temperature_standard_uncertainty=thermometer,
        )
    except NotBrine:
        return
    low, high = found.interval_95
    warmest_c = min(temperature_c + 3.0 * (thermometer + 0.05), 50.0)
    assert 0.0 <= low <= found.mass_fraction <= high
    assert high <= saturation_mass_fraction(warmest_c) + 0.0006
    assert found.mass_fraction <= saturation_mass_fraction(temperature_c)
    assert found.standard_uncertainty > 0.0


REFUSED = [
    (990.0, 20.0, "not-brine"),
    (1215.0, 20.0, "above-saturation"),
    (1080.0, -10.0, "slush"),
    (1180.0, -25.0, "out-of-range"),
    (math.nan, 20.0, "out-of-range"),
    (1180.0, math.nan, "out-of-range"),
    (0.0, 20.0, "out-of-range"),
]


@pytest.mark.parametrize(("measured", "temperature_c", "reason"), REFUSED)
def test_what_is_no_brine_is_refused_by_its_reason(
    measured: float, temperature_c: float, reason: str
) -> None:
    """Lighter than water, heavier than saturated, or weaker than the liquid that can be there."""
    with pytest.raises(NotBrine) as refusal:
        salinity_from_density(
            measured,
            temperature_c,
            density_standard_uncertainty_kg_per_m3=0.5,
            temperature_standard_uncertainty=0.3,
        )
    assert refusal.value.reason == reason


def test_a_reading_a_hair_past_saturation_is_held_there_and_says_so() -> None:
    """Within its uncertainty of saturation the strength is saturation, not 26 point something."""
    full = density(saturation_mass_fraction(20.0), 20.0)
    found = salinity_from_density(
        full + 1.0,
        20.0,
        density_standard_uncertainty_kg_per_m3=1.0,
        temperature_standard_uncertainty=0.3,
    )
    assert found.bound == "saturation"
    assert found.mass_fraction == pytest.approx(saturation_mass_fraction(20.0))


def _weighed(mass_fraction: float, temperature_c: float) -> tuple[float, float]:
    """The interval of a perfect density and thermometer in brine of this strength."""
    return salinity_from_density(
        density(mass_fraction, temperature_c),
        temperature_c,
        density_standard_uncertainty_kg_per_m3=0.0,
        temperature_standard_uncertainty=0.0,
    ).interval_95


@pytest.mark.parametrize("row", solubility_rows(), ids=str)
def test_every_published_saturated_brine_is_in_its_interval(row: SolubilityRow) -> None:
    """Weighed perfectly, brine that a handbook calls saturated is nowhere cut off as impossible."""
    low, high = _weighed(row.mass_fraction, row.temperature_c)
    assert low <= row.mass_fraction <= high


@pytest.mark.parametrize("row", ICE_ROWS, ids=str)
def test_every_published_brine_on_ice_is_in_its_interval(row: FreezingRow) -> None:
    """Weighed perfectly at its published freezing point, brine is not called weaker than liquid."""
    low, high = _weighed(row.mass_fraction, row.temperature_c)
    assert low <= row.mass_fraction <= high


def test_the_curve_is_less_sure_in_the_cold() -> None:
    """Nothing was fitted below 0 degC, and the stated uncertainty says so."""
    at_twenty = density_standard_uncertainty(0.233, 20.0) / density(0.233, 20.0)
    at_cold = density_standard_uncertainty(0.233, -20.0) / density(0.233, -20.0)
    assert at_twenty == pytest.approx(1e-4)
    assert at_cold == pytest.approx(6e-4)
