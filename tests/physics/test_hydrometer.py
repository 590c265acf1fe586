"""Hydrometers on their scales, against published tables."""

import math

import pytest
from hypothesis import given
from hypothesis import strategies as st

from brineward.physics.density import extended_mass_fraction
from brineward.physics.hydrometer import (
    SCALES,
    SIXTY_FAHRENHEIT_C,
    Scale,
    density_from_salometer,
    density_from_specific_gravity,
    salinity_from_salometer,
    salinity_from_specific_gravity,
    salometer_degrees,
    scale_named,
    specific_gravity,
)
from brineward.physics.refusals import NotBrine
from brineward.published import HydrometerRow, hydrometer_rows


def _scale_of(row: HydrometerRow) -> Scale:
    return scale_named("60/60 degF" if row.scale.startswith("60 degF") else "15/15 degC")


@pytest.mark.parametrize("row", hydrometer_rows(), ids=str)
def test_a_hydrometer_shows_what_the_tables_say(row: HydrometerRow) -> None:
    """Within 0.0012 of Lange's table 5.13 (rounded to 0.001) and of Laliberte's model."""
    shown = specific_gravity(row.mass_fraction, scale=_scale_of(row))
    assert shown == pytest.approx(row.specific_gravity, abs=0.0012)


@pytest.mark.parametrize("row", hydrometer_rows(), ids=str)
def test_a_salometer_shows_what_the_tables_say(row: HydrometerRow) -> None:
    """Within 0.06 degrees of Lange's column and the Salt Institute's definition."""
    assert salometer_degrees(row.mass_fraction) == pytest.approx(row.salometer_degrees, abs=0.06)


def test_the_usual_chart_value_is_not_quite_the_eutectic() -> None:
    """1.176 at 60/60 degF is 23.05 %, and 23.3 % is 1.178 (Laliberte's model over water)."""
    told = extended_mass_fraction(
        density_from_specific_gravity(1.176, SIXTY_FAHRENHEIT_C), SIXTY_FAHRENHEIT_C
    )
    assert told == pytest.approx(0.2305, abs=0.0003)
    assert specific_gravity(0.233) == pytest.approx(1.178, abs=0.0005)


def test_cold_brine_floats_the_hydrometer_too_high() -> None:
    """True 23.3 % at 0 degC reads as 24.1 % if its temperature is not asked for (from Perry's)."""
    shown = specific_gravity(0.233, 0.0)
    taken_as_sixty = extended_mass_fraction(
        density_from_specific_gravity(shown, SIXTY_FAHRENHEIT_C), SIXTY_FAHRENHEIT_C
    )
    assert taken_as_sixty == pytest.approx(0.2415, abs=0.0010)


def test_the_glass_swells_with_the_sample() -> None:
    """Ten degrees of glass are 0.025 % of the density (ISO 649's 25e-6 per kelvin)."""
    warm = density_from_specific_gravity(1.17, SIXTY_FAHRENHEIT_C + 10.0)
    same = density_from_specific_gravity(1.17, SIXTY_FAHRENHEIT_C)
    assert same / warm - 1.0 == pytest.approx(25e-5, rel=1e-3)


@pytest.mark.parametrize("scale", SCALES, ids=lambda scale: scale.name)
@given(st.floats(0.15, 0.25), st.floats(-9.0, 40.0))
def test_every_scale_gives_the_strength_back(
    scale: Scale, mass_fraction: float, sample_c: float
) -> None:
    """Strength to mark to strength on each scale, at the temperature of the sample."""
    mark = specific_gravity(mass_fraction, sample_c, scale)
    told = salinity_from_specific_gravity(
        mark,
        sample_c,
        scale,
        mark_standard_uncertainty=0.0005,
        temperature_standard_uncertainty=0.5,
    )
    assert told.mass_fraction == pytest.approx(mass_fraction, abs=1e-7)
    assert 0.0004 < told.standard_uncertainty < 0.0012


@given(st.floats(0.15, 0.25), st.floats(-9.0, 40.0))
def test_the_salometer_gives_the_strength_back(mass_fraction: float, sample_c: float) -> None:
    """Strength to degrees to strength, at the temperature of the sample."""
    degrees = salometer_degrees(mass_fraction, sample_c)
    told = salinity_from_salometer(
        degrees,
        sample_c,
        degrees_standard_uncertainty=0.5,
        temperature_standard_uncertainty=0.5,
    )
    assert told.mass_fraction == pytest.approx(mass_fraction, abs=1e-6)
    assert 0.001 < told.standard_uncertainty < 0.002


@pytest.mark.parametrize("name", ["60/60", "60/60 degF", "60/60 °F", "60/60degF", "60/60 f"])
def test_a_scale_is_known_by_its_usual_spellings(name: str) -> None:
    """The unit may be left out or written with a degree sign."""
    assert scale_named(name).name == "60/60 degF"


def test_an_unknown_scale_is_refused_with_the_known_ones() -> None:
    """Whoever has another hydrometer sees what is known."""
    with pytest.raises(ValueError, match="15/4 degC"):
        scale_named("60/39")


@pytest.mark.parametrize("mark", [0.0, 1.4, 1176.0, math.nan, -1.1])
def test_a_mark_that_no_brine_shows_is_refused(mark: float) -> None:
    """A slip of the pen is no strength."""
    with pytest.raises(NotBrine) as refusal:
        density_from_specific_gravity(mark, 10.0)
    assert refusal.value.reason == "out-of-range"


@pytest.mark.parametrize("degrees", [-1.0, 120.0, math.nan])
def test_degrees_that_no_salometer_has_are_refused(degrees: float) -> None:
    """A slip of the pen is no strength."""
    with pytest.raises(NotBrine, match="salometer"):
        density_from_salometer(degrees, 10.0)
