"""Levels from echoes and pressure, and the density that two of them tell."""

import math

import pytest
from CoolProp import CoolProp

from brineward.physics.levels import (
    Measured,
    density_from_pressure_and_level,
    density_from_two_pressures,
    level_from_echo,
    level_from_pressure,
    speed_of_sound_in_air,
)
from brineward.physics.refusals import NotBrine


@pytest.mark.parametrize("air_c", [-20.0, 0.0, 20.0, 40.0])
def test_sound_is_as_fast_as_an_independent_library_says(air_c: float) -> None:
    """CoolProp's air agrees within 0.1 %."""
    theirs = CoolProp.PropsSI("A", "T", air_c + 273.15, "P", 101325, "Air")
    assert speed_of_sound_in_air(air_c) == pytest.approx(theirs, rel=1e-3)


@pytest.mark.parametrize(("air_c", "too_far"), [(-20.0, 0.076), (0.0, 0.036)])
def test_an_uncorrected_echo_reads_too_far_in_the_cold(air_c: float, too_far: float) -> None:
    """A sensor that assumes 20 degC over-reads the distance by 7.6 % at -20 degC, 3.6 % at 0."""
    true_m = 2.5 - level_from_echo(1.0, 2.5, air_c=air_c, assumed_air_c=20.0).value
    assert 1.0 / true_m - 1.0 == pytest.approx(too_far, abs=0.0005)


def test_an_unsure_air_temperature_makes_the_level_unsure() -> None:
    """5 K at 0 degC is 0.9 % of the distance, beside the sensor's own 3 mm."""
    level = level_from_echo(
        1.0,
        2.5,
        air_c=0.0,
        assumed_air_c=0.0,
        distance_standard_uncertainty_m=0.003,
        air_standard_uncertainty_c=5.0,
    )
    assert level.value == pytest.approx(1.5)
    assert level.standard_uncertainty == pytest.approx(math.hypot(0.003, 5 / 546.3), rel=1e-6)


def test_pressure_tells_the_level_of_brine_not_of_water() -> None:
    """2 m of brine of 1180 kg/m3 press with 23.1 kPa; taken for water they would be 2.36 m."""
    pressure_pa = 1180.0 * 9.80665 * 2.0
    level = level_from_pressure(
        pressure_pa,
        1180.0,
        0.1,
        pressure_standard_uncertainty_pa=58.0,
        density_standard_uncertainty_kg_per_m3=5.9,
    )
    assert level.value == pytest.approx(2.1)
    assert level.standard_uncertainty == pytest.approx(math.hypot(0.005, 0.01), rel=0.01)
    with pytest.raises(ValueError, match="carries no pressure"):
        level_from_pressure(pressure_pa, math.nan)


def test_two_pressures_a_metre_apart_tell_density() -> None:
    """10 Pa on each of two probes a metre apart is 1.4 kg/m3, an eighth of that in percent."""
    told = density_from_two_pressures(
        20_000.0 + 1180.0 * 9.80665, 20_000.0, 1.0, pressure_standard_uncertainty_pa=10.0
    )
    assert told.value == pytest.approx(1180.0)
    assert told.standard_uncertainty == pytest.approx(math.sqrt(2) * 10 / 9.80665)


def test_a_spacing_that_is_not_known_costs_its_share() -> None:
    """2 mm of a metre are 0.2 % of the density: 2.4 kg/m3."""
    told = density_from_two_pressures(
        20_000.0 + 1180.0 * 9.80665,
        20_000.0,
        1.0,
        pressure_standard_uncertainty_pa=0.0,
        spacing_standard_uncertainty_m=0.002,
    )
    assert told.standard_uncertainty == pytest.approx(2.36)


def test_pressure_and_an_independent_level_tell_density() -> None:
    """Depth is the level less the probe's height."""
    told = density_from_pressure_and_level(
        1180.0 * 9.80665 * 1.9, Measured(2.0, 0.0), 0.1, pressure_standard_uncertainty_pa=10.0
    )
    assert told.value == pytest.approx(1180.0)


def test_a_dry_probe_tells_no_density() -> None:
    """Above the brine there is nothing to weigh, and the refusal says so."""
    with pytest.raises(NotBrine) as upper:
        density_from_two_pressures(5_000.0, 10.0, 1.0, pressure_standard_uncertainty_pa=10.0)
    with pytest.raises(NotBrine) as level:
        density_from_pressure_and_level(
            500.0, Measured(0.1, 0.0), 0.3, pressure_standard_uncertainty_pa=10.0
        )
    assert upper.value.reason == level.value.reason == "probe-dry"


@pytest.mark.parametrize("pressure_pa", [math.nan, math.inf])
def test_no_pressure_tells_no_density(pressure_pa: float) -> None:
    """What is no number is refused, never passed on."""
    with pytest.raises(NotBrine):
        density_from_two_pressures(pressure_pa, 9e3, 1.0, pressure_standard_uncertainty_pa=10.0)
    with pytest.raises(NotBrine):
        density_from_two_pressures(9e3, math.nan, 1.0, pressure_standard_uncertainty_pa=10.0)
    with pytest.raises(NotBrine):
        density_from_pressure_and_level(
            pressure_pa, Measured(2.0, 0.01), 0.1, pressure_standard_uncertainty_pa=10.0
        )
