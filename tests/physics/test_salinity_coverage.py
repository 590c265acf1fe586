"""The stated 95 % intervals hold the truth 93 to 97 times in 100, by Monte Carlo (JCGM 101)."""

import math

import numpy as np
import pytest

from brineward.physics.conductivity import log_conductivity
from brineward.physics.liquid_lines import least_liquid, most_liquid
from brineward.physics.model_uncertainty import model_standard_uncertainty
from brineward.physics.salinity import NotBrine, salinity

DRAWS = 4000
NOISE = 3.0 * math.sqrt(0.95 * 0.05 / DRAWS)
"""Three standard deviations of the count itself: a cell that is in is not called out by chance."""
SHARES = (0.002, 0.1, 0.5, 0.9, 0.998)
"""From one line to the other, the very edges included."""


def _coverage(
    mass_fraction: float, temperature_c: float, probe: float, kelvin: float, calibration: float
) -> float:
    """The share of simulated readings whose interval holds the truth; a refusal holds nothing."""
    draws = np.random.default_rng(7).standard_normal((DRAWS, 4)).tolist()
    truth = log_conductivity(mass_fraction, temperature_c)
    model = model_standard_uncertainty(mass_fraction, temperature_c)
    held = 0
    for of_model, of_calibration, of_probe, of_thermometer in draws:
        reading = math.exp(truth + model * of_model + calibration * of_calibration)
        try:
            found = salinity(
                reading + probe * of_probe,
                temperature_c + kelvin * of_thermometer,
                conductivity_standard_uncertainty=probe,
                temperature_standard_uncertainty=kelvin,
                calibration_standard_uncertainty=calibration,
            )
        except NotBrine:
            continue
        held += found.interval_95[0] <= mass_fraction <= found.interval_95[1]
    return held / DRAWS


@pytest.mark.parametrize("temperature_c", [-20.0, -15.0, -10.0, -3.0, 0.0, 5.0, 20.0, 36.0])
@pytest.mark.parametrize(
    ("probe", "kelvin", "calibration"), [(0.1, 0.2, 0.0), (0.2, 1.0, 0.01), (0.02, 0.05, 0.0)]
)
def test_coverage(temperature_c: float, probe: float, kelvin: float, calibration: float) -> None:
    """Good, poor and excellent instruments, from line to line: 93 to 97 % at every point.

    Refused readings count as missed. Water so weak that its conductivity is within a few of the
    probe's standard deviations of nothing is left out: there the probe counts as dry.
    """
    least, most = least_liquid(temperature_c), most_liquid(temperature_c)
    for share in SHARES:
        mass_fraction = max(least + share * (most - least), probe / 40.0)
        held = _coverage(mass_fraction, temperature_c, probe, kelvin, calibration)
        assert 0.93 - NOISE <= held <= 0.97 + NOISE, (mass_fraction, held)
