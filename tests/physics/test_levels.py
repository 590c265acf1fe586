"""The density that two pressures tell."""

import math

import pytest

from brineward.physics.levels import density_from_two_pressures
from brineward.physics.refusals import NotBrine


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


def test_a_dry_probe_tells_no_density() -> None:
    """Above the brine there is nothing to weigh, and the refusal says so."""
    with pytest.raises(NotBrine) as upper:
        density_from_two_pressures(5_000.0, 10.0, 1.0, pressure_standard_uncertainty_pa=10.0)
    assert upper.value.reason == "probe-dry"


@pytest.mark.parametrize("pressure_pa", [math.nan, math.inf])
def test_no_pressure_tells_no_density(pressure_pa: float) -> None:
    """What is no number is refused, never passed on."""
    with pytest.raises(NotBrine):
        density_from_two_pressures(pressure_pa, 9e3, 1.0, pressure_standard_uncertainty_pa=10.0)
    with pytest.raises(NotBrine):
        density_from_two_pressures(9e3, math.nan, 1.0, pressure_standard_uncertainty_pa=10.0)
