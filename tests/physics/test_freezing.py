"""The ice line, the hydrohalite line and the halite line against published values."""

import math
from itertools import pairwise

import pytest
from CoolProp import CoolProp
from hypothesis import given
from hypothesis import strategies as st

from brineward.physics.freezing import first_solid, freezing_point_c, ice_line_mass_fraction
from brineward.physics.phase_coefficients import EUTECTIC_C, EUTECTIC_MASS_FRACTION
from brineward.physics.saturation import (
    SATURATION_EXPANDED_UNCERTAINTY,
    SATURATION_STANDARD_UNCERTAINTY,
    Solid,
    crystals_point_c,
    saturation_mass_fraction,
    solid_at_saturation,
)
from brineward.published import FreezingRow, SolubilityRow, freezing_rows, solubility_rows


@pytest.mark.parametrize("row", freezing_rows(), ids=str)
def test_freezing_points_are_the_published_ones(row: FreezingRow) -> None:
    """Ice within 0.1 degC of the CRC Handbook, Lange's and the eutectic; hydrohalite within 0.4."""
    allowed = 0.4 if row.solid_phase == "hydrohalite" else 0.1
    assert freezing_point_c(row.mass_fraction) == pytest.approx(row.temperature_c, abs=allowed)


@pytest.mark.parametrize("row", solubility_rows(), ids=str)
def test_saturation_is_the_published_one(row: SolubilityRow) -> None:
    """Within 0.06 % by mass of the Salt Institute, the CRC Handbook and Pabalan & Pitzer."""
    temperature_c = max(row.temperature_c, EUTECTIC_C)
    assert saturation_mass_fraction(temperature_c) == pytest.approx(row.mass_fraction, abs=6e-4)


def test_the_stated_uncertainty_of_saturation_is_the_published_scatter() -> None:
    """Root mean square of the 27 published values is 0.03 % by mass; none lies 0.06 off."""
    off = [
        row.mass_fraction - saturation_mass_fraction(row.temperature_c) for row in solubility_rows()
    ]
    scatter = math.sqrt(sum(x * x for x in off) / len(off))
    assert scatter == pytest.approx(SATURATION_STANDARD_UNCERTAINTY, abs=0.00002)
    assert max(abs(x) for x in off) < SATURATION_EXPANDED_UNCERTAINTY


@pytest.mark.parametrize("percent", [5, 10, 15, 20, 22])
def test_an_independent_library_freezes_at_the_same_temperature(percent: int) -> None:
    """CoolProp's INCOMP::MNA (from Melinder's tables, not fitted here) agrees within 0.2 degC."""
    fraction = percent / 100
    theirs = CoolProp.PropsSI("T_freeze", "T", 290, "P", 101325, f"INCOMP::MNA[{fraction}]")
    assert freezing_point_c(fraction) == pytest.approx(theirs - 273.15, abs=0.2)


def test_water_freezes_at_zero() -> None:
    """No salt, no depression."""
    assert freezing_point_c(0.0) == pytest.approx(0.0, abs=1e-6)


@pytest.mark.parametrize(
    ("mass_fraction", "solid"),
    [(0.0, Solid.ICE), (0.22, Solid.ICE), (0.24, Solid.HYDROHALITE), (0.264, Solid.HALITE)],
)
def test_what_comes_out_first(mass_fraction: float, solid: Solid) -> None:
    """Ice up to the eutectic, hydrohalite up to 26.3 %, halite beyond (Salt Institute)."""
    assert first_solid(mass_fraction) is solid


def test_hydrohalite_gives_way_to_halite_at_the_transition() -> None:
    """0.1 degC parts the two crystals (Salt Institute)."""
    assert solid_at_saturation(0.0) is Solid.HYDROHALITE
    assert solid_at_saturation(0.2) is Solid.HALITE


def test_the_three_lines_meet() -> None:
    """No jump at the eutectic or at the transition, or a tank would change its mind there."""
    just = 1e-9
    below = freezing_point_c(EUTECTIC_MASS_FRACTION)
    assert freezing_point_c(EUTECTIC_MASS_FRACTION + just) == pytest.approx(below, abs=1e-5)
    assert saturation_mass_fraction(0.1 - just) == pytest.approx(
        saturation_mass_fraction(0.1), abs=1e-9
    )


@given(st.floats(min_value=0.0, max_value=EUTECTIC_MASS_FRACTION))
def test_the_ice_line_and_its_inverse_agree(mass_fraction: float) -> None:
    """Strength to temperature and back, all along the ice line."""
    assert ice_line_mass_fraction(freezing_point_c(mass_fraction)) == pytest.approx(
        mass_fraction, abs=1e-8
    )


@given(st.floats(min_value=EUTECTIC_C, max_value=50.0))
def test_the_saturation_line_and_its_inverse_agree(temperature_c: float) -> None:
    """Temperature to strength and back to the same strength, along both crystals' lines."""
    strength = saturation_mass_fraction(temperature_c)
    again = saturation_mass_fraction(crystals_point_c(strength))
    assert again == pytest.approx(strength, abs=1e-9)


def test_each_line_runs_one_way() -> None:
    """More salt freezes colder as ice, crystallises warmer beyond; never back."""
    ice = [freezing_point_c(n / 1000) for n in range(234)]
    assert all(b < a for a, b in pairwise(ice))
    saturated = [saturation_mass_fraction(EUTECTIC_C + 0.1 * n) for n in range(711)]
    assert all(b > a for a, b in pairwise(saturated))


@pytest.mark.parametrize("value", [-0.001, 0.28, 1.0, math.nan, math.inf, -math.inf])
def test_a_strength_that_cannot_be_is_refused(value: float) -> None:
    """Nothing outside the range gets a freezing point, least of all NaN."""
    with pytest.raises(ValueError, match=r"mass fraction|crystals come out"):
        freezing_point_c(value)


@pytest.mark.parametrize("value", [-21.2, -273.15, math.nan, -math.inf])
def test_there_is_no_liquid_below_the_eutectic(value: float) -> None:
    """Below the eutectic neither line has an answer, and says so."""
    with pytest.raises(ValueError, match="no liquid"):
        ice_line_mass_fraction(value)
    with pytest.raises(ValueError, match="saturation is known"):
        saturation_mass_fraction(value)
