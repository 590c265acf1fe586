"""The quick lines are the lines."""

import pytest

from brineward.physics.freezing import ice_line_mass_fraction
from brineward.physics.liquid_lines import least_liquid, most_liquid
from brineward.physics.phase_coefficients import EUTECTIC_C
from brineward.physics.saturation import saturation_mass_fraction


def test_they_follow_the_fitted_lines() -> None:
    """Within 0.0005 % by mass everywhere, a hundredth of what the lines themselves are worth."""
    for step in range(400):
        t = EUTECTIC_C + step * (40.0 - EUTECTIC_C) / 400
        assert least_liquid(t) == pytest.approx(ice_line_mass_fraction(t), abs=5e-6)
        assert most_liquid(t) == pytest.approx(saturation_mass_fraction(t), abs=5e-6)


def test_they_meet_at_the_eutectic() -> None:
    """At -21.1 degC there is one liquid, of 23.31 % (Salt Institute)."""
    assert least_liquid(EUTECTIC_C) == pytest.approx(0.2331, abs=2e-4)
    assert most_liquid(EUTECTIC_C) == pytest.approx(0.2331, abs=5e-4)
