"""The simulator's own brine against published values it was not fitted to, and other libraries."""

import math

import numpy as np
import pytest
from CoolProp.CoolProp import PropsSI

from brinesim import brine
from brinesim.published import table


def rows(name: str, *sources: str) -> list[dict[str, str]]:
    found = [r for r in table(name) if r["source"] in sources]
    assert found
    return found


@pytest.mark.parametrize("temperature_c", [1.0, 5.0, 10.0, 20.0, 30.0, 40.0])
def test_water_density_is_that_of_iapws(temperature_c: float) -> None:
    """Kell's formula, written from memory, agrees with IAPWS-95 in CoolProp to 0.02 kg/m3."""
    iapws = PropsSI("D", "T", temperature_c + 273.15, "P", 101325, "Water")
    assert brine.water_density(temperature_c) == pytest.approx(iapws, abs=0.02)


def test_density_meets_every_published_row() -> None:
    """Within 0.03 % of CRC, Perry and the Poradnik tables, 0 to 40 degC."""
    for row in table("density"):
        found = brine.density_from_mass_fraction(
            float(row["mass_percent"]) / 100, float(row["temperature_c"])
        )
        assert found == pytest.approx(float(row["density_kg_per_m3"]), rel=3e-4), row


@pytest.mark.parametrize(("percent", "temperature_c"), [(10, -5), (20, -10), (22.5, -15), (23, 15)])
def test_density_in_the_cold_is_that_of_coolprop(percent: float, temperature_c: float) -> None:
    """Below 0 degC, where no row was fitted, within 0.3 % of CoolProp's MNA (Melinder 2010)."""
    mna = PropsSI("D", "T", temperature_c + 273.15, "P", 101325, f"INCOMP::MNA[{percent / 100}]")
    found = brine.density_from_mass_fraction(percent / 100, temperature_c)
    assert found == pytest.approx(mna, rel=3e-3)


@pytest.mark.parametrize("percent", [0, 5, 10, 15, 20, 23])
def test_heat_capacity_is_near_coolprop(percent: float) -> None:
    """Within 4 % of CoolProp's MNA at 10 degC; water and salt are simply added."""
    fluid = f"INCOMP::MNA[{percent / 100}]" if percent else "Water"
    other = PropsSI("C", "T", 283.15, "P", 101325, fluid)
    assert brine.heat_capacity_from_mass_fraction(percent / 100) == pytest.approx(other, rel=0.04)


def test_conductivity_meets_what_it_was_fitted_to() -> None:
    """Within 1.1 % of CRC and Kohlrausch, 0.7 % of the saturated series (0 to 35 degC)."""
    for row in rows("conductivity", "CRC20", "KOHL18", "CRCD20"):
        assert error_of(row) < 0.011, row
    for row in rows("conductivity", "SATNACL"):
        assert error_of(row) < 0.007, row
    for row in rows("conductivity", "CSS25"):
        assert error_of(row) < 1e-6, row


def error_of(row: dict[str, str]) -> float:
    found = brine.conductivity_from_mass_fraction(
        np.array([float(row["mass_percent"]) / 100]), np.array([float(row["temperature_c"])])
    )
    return abs(float(found[0]) / float(row["conductivity_ms_per_cm"]) - 1)


def test_conductivity_rises_with_strength_and_warmth() -> None:
    """Between 0 and 40 degC more salt, and more warmth, always conduct better, to saturation."""
    w = np.linspace(0.001, 0.262, 120)
    for temperature in np.arange(0.0, 41.0, 5.0):
        along = brine.conductivity_from_mass_fraction(w, np.full(w.size, temperature))
        assert np.all(np.diff(along) > 0)
        warmer = brine.conductivity_from_mass_fraction(w, np.full(w.size, temperature + 1))
        assert np.all(warmer > along)


def test_saturation_agrees_with_two_sources_not_used() -> None:
    """Within 0.09 % by mass of Pabalan & Pitzer 1987 and the CRC solubility, 0 to 40 degC."""
    for row in rows("solubility", "PABALAN_PITZER87", "CRC_SOL"):
        if float(row["temperature_c"]) > 38:
            continue
        found = 100 * brine.saturation_from_temperature(float(row["temperature_c"]))
        assert found == pytest.approx(float(row["saturation_mass_percent"]), abs=0.09), row


def test_freezing_agrees_with_a_source_not_used() -> None:
    """Within 0.1 K of Lange's Handbook, table 5.13, which the curve was not drawn through."""
    for row in rows("freezing", "LANGE_T5.13"):
        found = brine.freezing_from_mass_fraction(float(row["mass_percent"]) / 100)
        assert found == pytest.approx(float(row["temperature_c"]), abs=0.1), row


def test_the_eutectic_is_the_coldest_liquid() -> None:
    """No strength freezes below -21.12 degC; 23.3 % comes within 0.2 K of it (CRC, SALTINST)."""
    temperatures = [brine.freezing_from_mass_fraction(w / 1000) for w in range(264)]
    assert min(temperatures) >= -21.12
    assert math.isclose(brine.freezing_from_mass_fraction(0.233), -21.1, abs_tol=0.2)
