"""How fast a pump against a closed valve heats: specific heat, and the time left."""

import math

import pytest
from CoolProp import CoolProp
from hypothesis import given
from hypothesis import strategies as st
from thermo.electrochem import Laliberte_heat_capacity

from brineward.physics.density import density
from brineward.physics.heating import heating_k_per_s, seconds_to_temperature, specific_heat

STEEL_J_PER_KG_K = 460.0
"""Carbon steel and cast iron near room temperature (common practice, no source)."""


@pytest.mark.parametrize("temperature_c", [0, 5, 10, 20, 30, 40])
@pytest.mark.parametrize("mass_fraction", [0.02, 0.1, 0.2, 0.229])
def test_specific_heat_agrees_with_melinders_tables(
    temperature_c: float, mass_fraction: float
) -> None:
    """CoolProp's INCOMP::MNA, from other tables, agrees within 0.7 % at 0 to 40 degC."""
    theirs = CoolProp.PropsSI(
        "C", "T", temperature_c + 273.15, "P", 101325, f"INCOMP::MNA[{mass_fraction}]"
    )
    assert specific_heat(mass_fraction, temperature_c) == pytest.approx(theirs, rel=7e-3)


@pytest.mark.parametrize(("temperature_c", "mass_fraction"), [(-5, 0.1), (-10, 0.2), (-15, 0.229)])
def test_in_the_cold_it_is_near_melinders_tables(
    temperature_c: float, mass_fraction: float
) -> None:
    """Below 0 degC, where the value at 0 degC is kept, within 1.5 % of CoolProp's INCOMP::MNA."""
    theirs = CoolProp.PropsSI(
        "C", "T", temperature_c + 273.15, "P", 101325, f"INCOMP::MNA[{mass_fraction}]"
    )
    assert specific_heat(mass_fraction, temperature_c) == pytest.approx(theirs, rel=15e-3)


@pytest.mark.parametrize("temperature_c", [2, 20, 60, 99])
@pytest.mark.parametrize("mass_fraction", [0.01, 0.1, 0.2, 0.26])
def test_the_published_equation_is_written_down_rightly(
    temperature_c: float, mass_fraction: float
) -> None:
    """Laliberte's 2009 equation as coded in `thermo`, with another water, agrees within 0.11 %."""
    theirs = Laliberte_heat_capacity(temperature_c + 273.15, [mass_fraction], ["7647-14-5"])
    assert specific_heat(mass_fraction, temperature_c) == pytest.approx(theirs, rel=11e-4)


@pytest.mark.parametrize("temperature_c", [0.01, 10, 40, 80, 99])
def test_water_is_the_iapws_water(temperature_c: float) -> None:
    """Without salt it is water: IAPWS-95 (CoolProp) agrees within 0.1 % from 0 to 99 degC."""
    theirs = CoolProp.PropsSI("C", "T", temperature_c + 273.15, "P", 101325, "Water")
    assert specific_heat(0.0, temperature_c) == pytest.approx(theirs, rel=1e-3)


def test_a_pump_heats_as_its_power_over_its_brine() -> None:
    """1.5 kW in 5 L at 20 degC: over CRC's density and CoolProp's specific heat, within 0.5 %."""
    theirs = CoolProp.PropsSI("C", "T", 293.15, "P", 101325, "INCOMP::MNA[0.2]")
    capacity = 0.005 * 1147.8 * theirs  # CRC at 20 degC, 20 %: 1147.8 kg/m3
    assert heating_k_per_s(1500.0, 0.005, 0.20, 20.0) == pytest.approx(1500.0 / capacity, rel=5e-3)


@given(st.floats(0.0, 0.26), st.floats(-5.0, 45.0), st.floats(0.1, 50.0))
def test_the_time_is_the_sum_of_small_steps(
    mass_fraction: float, temperature_c: float, rise_k: float
) -> None:
    """Warmed in a thousand small steps, the brine takes as long, within 0.1 %."""
    limit_c = temperature_c + rise_k
    step_k = rise_k / 1000
    slowly = sum(
        step_k / heating_k_per_s(1500.0, 0.005, mass_fraction, temperature_c + (n + 0.5) * step_k)
        for n in range(1000)
    )
    found = seconds_to_temperature(1500.0, 0.005, mass_fraction, temperature_c, limit_c)
    assert found == pytest.approx(slowly, rel=1e-3)


def test_the_casings_metal_left_out_makes_the_time_short() -> None:
    """With 10 kg of steel beside 5 L of brine the real time is a fifth to a quarter longer."""
    found = seconds_to_temperature(1500.0, 0.005, 0.233, 10.0, 60.0)
    assert 10.5 * 60 < found < 11.0 * 60
    brine_j_per_k = 0.005 * density(0.233, 35.0) * specific_heat(0.233, 35.0)
    with_steel = (brine_j_per_k + 10.0 * STEEL_J_PER_KG_K) * 50.0 / 1500.0
    assert 1.2 < with_steel / found < 1.25


def test_what_is_hot_already_takes_no_time() -> None:
    """At the limit or above it nothing is left."""
    assert seconds_to_temperature(1500.0, 0.005, 0.233, 60.0, 60.0) == 0.0
    assert seconds_to_temperature(1500.0, 0.005, 0.233, 70.0, 60.0) == 0.0


@pytest.mark.parametrize(
    ("asked", "word"),
    [
        ((0.0, 0.005, 0.233, 10.0, 60.0), "shut-off power"),
        ((math.inf, 0.005, 0.233, 10.0, 60.0), "shut-off power"),
        ((math.nan, 0.005, 0.233, 70.0, 60.0), "shut-off power"),
        ((1500.0, 0.0, 0.233, 10.0, 60.0), "casing"),
        ((1500.0, math.nan, 0.233, 10.0, 60.0), "casing"),
        ((1500.0, 0.005, -0.1, 10.0, 60.0), "mass fraction"),
        ((1500.0, 0.005, math.nan, 10.0, 60.0), "mass fraction"),
        ((1500.0, 0.005, 0.233, -30.0, 60.0), "not at -30"),
        ((1500.0, 0.005, 0.233, math.nan, 60.0), "not at nan"),
        ((1500.0, 0.005, 0.233, 10.0, 100.1), "up to 100 degC"),
        ((1500.0, 0.005, 0.233, 10.0, math.nan), "up to 100 degC"),
    ],
)
def test_what_makes_no_sense_is_refused(asked: tuple[float, ...], word: str) -> None:
    """No power, no liquid, or a temperature beyond what is known gives no time at all."""
    with pytest.raises(ValueError, match=word):
        seconds_to_temperature(*asked)
