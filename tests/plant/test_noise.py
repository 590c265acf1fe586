"""A sensor's noise, learned from its readings whatever they do besides."""

import math
import random

import pytest

from brineward.plant.noise import Noise


@pytest.mark.parametrize("true", [0.003, 0.006, 0.02])
@pytest.mark.parametrize("trend", [0.0, 1e-3])
def test_noise_is_learned_whatever_the_trend(true: float, trend: float) -> None:
    """After some hundred readings within a third of the truth, and never under what is declared."""
    draw = random.Random(7)
    noise = Noise(0.003)
    for place in range(600):
        noise.add(trend * place * 10 + draw.gauss(0.0, true))
    assert math.sqrt(noise.variance) == pytest.approx(true, rel=0.34)
    assert noise.variance >= 0.003**2


def test_one_spike_is_no_noise() -> None:
    """A wild reading counts as four standard uncertainties at most."""
    noise = Noise(0.003)
    for value in [1.0] * 50 + [500.0] + [1.0] * 50:
        noise.add(value)
    assert math.sqrt(noise.variance) < 0.005
