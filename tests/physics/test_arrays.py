"""Many readings at once: the same answers as one by one."""

import numpy as np
import pytest

from brineward.physics.arrays import mass_fractions_from_conductivity
from brineward.physics.conductivity import conductivity
from brineward.physics.liquid_lines import most_liquid
from brineward.physics.salinity import NotBrine, mass_fraction_from_conductivity


def test_they_are_the_scalar_answers() -> None:
    """30,000 liquids from -21 to 40 degC and from next to nothing to saturation, within 1e-9."""
    draw = np.random.default_rng(3)
    warm = draw.uniform(-21.1, 40.0, 30_000)
    strengths = np.array([most_liquid(t) for t in warm]) * draw.random(30_000) ** 2 * 0.99999
    conducts = np.array(
        [conductivity(w, t) for w, t in zip(strengths.tolist(), warm.tolist(), strict=True)]
    )
    found = mass_fractions_from_conductivity(conducts, warm)
    assert not found.mask.any()
    assert np.abs(found.data - strengths).max() < 1e-9


def test_what_one_by_one_refuses_is_masked() -> None:
    """Odd values in the middle of good ones: masked, and the good ones untouched."""
    odd = [
        (20.0, 15.0),
        (float("nan"), 15.0),
        (20.0, float("nan")),
        (50.0, 20.0),
        (1e300, 20.0),
        (float("inf"), 20.0),
        (-1.0, 20.0),
        (0.0, 20.0),
        (1e-300, 20.0),
        (5.0, -22.0),
        (20.0, 41.0),
        (6.0, -20.0),
        (20.0, 1e300),
    ]
    found = mass_fractions_from_conductivity(*(np.array(axis) for axis in zip(*odd, strict=True)))
    for (reading, temperature_c), mass_fraction, masked in zip(
        odd, found.data, found.mask, strict=True
    ):
        try:
            one = mass_fraction_from_conductivity(reading, temperature_c)
        except NotBrine:
            assert masked, (reading, temperature_c)
        else:
            assert not masked, (reading, temperature_c)
            assert mass_fraction == pytest.approx(one, abs=1e-9)


def test_shapes_are_kept_and_must_match() -> None:
    """A table in, a table out; two different shapes are a mistake of the caller."""
    assert mass_fractions_from_conductivity(np.full((3, 5), 20.0), np.full((3, 5), 15.0)).shape == (
        3,
        5,
    )
    with pytest.raises(ValueError, match="temperatures"):
        mass_fractions_from_conductivity(np.ones(3), np.ones(4))
