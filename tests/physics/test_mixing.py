"""What a volume holds and what brings it to strength."""

import math

import pytest
from hypothesis import given
from hypothesis import strategies as st

from brineward.physics.brines import NotSodiumChloride, brine_named, refuse_other_brines
from brineward.physics.density import density
from brineward.physics.margins import margin_to_solid
from brineward.physics.mixing import contents, correction
from brineward.physics.saturation import Solid, saturation_mass_fraction
from brineward.published import SolubilityRow, solubility_rows

GALLON_M3 = 231 * 0.0254**3
POUND_KG = 0.45359237


def test_a_gallon_holds_the_salt_that_the_trade_says() -> None:
    """23.3 % brine holds 2.29 lb of salt a gallon (computed from the tables at 60 degF)."""
    assert contents(GALLON_M3, 0.233, 15.56).salt_kg / POUND_KG == pytest.approx(2.29, abs=0.005)


def test_a_gallon_of_saturated_brine_weighs_what_the_crc_says() -> None:
    """CRC at 20 degC: 25 % has 1188.7 kg/m3, so a cubic metre holds 297.2 kg of salt."""
    held = contents(1.0, 0.25, 20.0)
    assert held.salt_kg == pytest.approx(0.25 * 1188.7, rel=2e-4)
    assert held.salt_kg + held.water_kg == pytest.approx(held.brine_kg)


def test_salt_added_really_brings_it_to_the_target() -> None:
    """1,900 gallons of 21.8 % need about 362 lb of salt for 23.3 % (mass balance by hand)."""
    add = correction(1900 * GALLON_M3, 0.218, 9.0, target=0.233)
    brine_kg = 1900 * GALLON_M3 * density(0.218, 9.0)
    assert add.water_kg == 0.0
    assert (0.218 * brine_kg + add.salt_kg) / (brine_kg + add.salt_kg) == pytest.approx(0.233)
    assert add.salt_kg / POUND_KG == pytest.approx(362, abs=1)


@given(st.floats(0.1, 100.0), st.floats(0.01, 0.25), st.floats(0.01, 0.25), st.floats(-5.0, 40.0))
def test_the_corrected_tank_has_the_target(
    volume_m3: float, mass_fraction: float, target: float, temperature_c: float
) -> None:
    """Whichever is added, salt over everything is the target, and only one of the two is added."""
    add = correction(volume_m3, mass_fraction, temperature_c, target=target)
    held = contents(volume_m3, mass_fraction, temperature_c)
    salt_kg = held.salt_kg + add.salt_kg
    everything_kg = held.brine_kg + add.salt_kg + add.water_kg
    assert salt_kg / everything_kg == pytest.approx(target)
    assert min(add.salt_kg, add.water_kg) == 0.0
    assert add.volume_m3 * density(target, temperature_c) == pytest.approx(everything_kg)


@pytest.mark.parametrize(("mass_fraction", "target"), [(0.218, 0.233), (0.25, 0.233)])
def test_the_uncertainty_of_what_to_add_is_its_slope(mass_fraction: float, target: float) -> None:
    """A strength known to 0.1 % makes the salt or water as unsure as adding for 0.1 % more."""
    add = correction(
        7.0, mass_fraction, 10.0, target=target, mass_fraction_standard_uncertainty=0.001
    )
    other = correction(7.0, mass_fraction + 0.001, 10.0, target=target)
    assert add.salt_standard_uncertainty_kg == pytest.approx(
        abs(other.salt_kg - add.salt_kg), rel=0.02
    )
    assert add.water_standard_uncertainty_kg == pytest.approx(
        abs(other.water_kg - add.water_kg), rel=0.02
    )


@pytest.mark.parametrize("row", solubility_rows(), ids=str)
def test_brine_can_be_brought_to_what_a_handbook_calls_saturated(row: SolubilityRow) -> None:
    """A target is not refused for lying past our line by less than the line is known."""
    add = correction(7.0, 0.22, row.temperature_c, target=row.mass_fraction)
    assert add.salt_kg > 0.0


@pytest.mark.parametrize("target", [0.0, -0.1, 0.27, 0.5, math.nan])
def test_a_target_that_cannot_dissolve_is_refused(target: float) -> None:
    """Nobody is told how much salt makes 27 %."""
    with pytest.raises(ValueError, match="dissolves"):
        correction(7.0, 0.218, 10.0, target=target)


@pytest.mark.parametrize("volume_m3", [-1.0, math.nan, math.inf])
def test_a_volume_that_cannot_be_is_refused(volume_m3: float) -> None:
    """A negative volume, or none at all, holds nothing that can be corrected."""
    with pytest.raises(ValueError, match="volume"):
        contents(volume_m3, 0.2, 10.0)


def test_both_ends_of_the_interval_count_for_the_night() -> None:
    """Near the eutectic weak brine freezes, strong brine drops crystals: the worse counts."""
    night = margin_to_solid(0.233, (0.223, 0.243), -15.0)
    assert night.solid is Solid.ICE
    assert night.at_weak_c == pytest.approx(-19.6, abs=0.2)  # CRC, between 22 and 23 %
    assert night.at_strong_c == pytest.approx(-15.0, abs=0.5)  # Salt Institute, 24.3 %
    assert night.margin_k == pytest.approx(-15.0 - night.at_strong_c)


@given(st.floats(0.0, 0.263), st.floats(-40.0, 20.0))
def test_the_margin_is_the_difference_to_the_first_solid(
    mass_fraction: float, coldest_c: float
) -> None:
    """With a sure strength the margin is the coldest temperature less the freezing point."""
    night = margin_to_solid(mass_fraction, (mass_fraction, mass_fraction), coldest_c)
    assert night.margin_k == pytest.approx(coldest_c - night.at_c)


@pytest.mark.parametrize("name", ["calcium chloride", "MgCl2", "CMA", "blend", "Potassium-acetate"])
def test_other_brines_are_known_and_refused(name: str) -> None:
    """Nothing but sodium chloride is ever converted with sodium chloride's tables."""
    with pytest.raises(NotSodiumChloride, match="no strength is worked out"):
        refuse_other_brines(name)


def test_sodium_chloride_is_converted_under_its_usual_names() -> None:
    """Rock salt in water is sodium chloride."""
    refuse_other_brines("NaCl")
    assert brine_named("Rock salt") == "sodium chloride"
    with pytest.raises(NotSodiumChloride, match="is not a brine known"):
        brine_named("treacle")


def test_saturated_brine_can_be_corrected() -> None:
    """The target may be saturation itself."""
    most = saturation_mass_fraction(10.0)
    assert correction(1.0, 0.2, 10.0, target=most).salt_kg > 0.0
