"""Many readings at once: the same answers as one by one."""

import numpy as np
import pytest

from brineward.physics.arrays import mass_fractions_from_conductivity
from brineward.physics.compiled_inversion import curve, root
from brineward.physics.conductivity import conductivity, log_conductivity
from brineward.physics.inversion import Isotherm
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
        (20.0, 40.05),
        (20.0, 41.0),
        (20.0, 40.0),
        (5.0, -21.15),
        (6.0, -20.0),
        (20.0, 1e300),
        (20.0, -300.0),
        (1e5, -113.0),
        (0.01, 39.9),
        (20.0, float("inf")),
    ]
    good = [(21.0, 18.0)] * 9000
    odd = [*good, *odd, *good]
    found = mass_fractions_from_conductivity(*(np.array(axis) for axis in zip(*odd, strict=True)))
    assert found.mask.any()
    for (reading, temperature_c), mass_fraction, masked in zip(
        odd, found.data, found.mask, strict=True
    ):
        try:
            one = mass_fraction_from_conductivity(reading, temperature_c)
        except NotBrine:
            assert masked, (reading, temperature_c)
            assert np.isnan(mass_fraction)
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


def test_the_line_of_saturation_is_drawn_where_it_is_one_by_one() -> None:
    """Readings a few billionths above and below saturated brine's: refused by both or by none."""
    warm = np.repeat(np.linspace(-21.1, 40.0, 500), 8)
    beside = np.tile([-1e-6, -1e-9, -1e-11, 0.0, 1e-11, 1e-9, 1e-6, 1e-3], 500)
    logs = np.array([log_conductivity(most_liquid(t), t) for t in warm.tolist()])
    conducts = np.exp(logs + beside)
    found = mass_fractions_from_conductivity(conducts, warm)
    told = [_one_by_one(*pair) for pair in zip(conducts.tolist(), warm.tolist(), strict=True)]
    assert [one is None for one in told] == found.mask.tolist()
    assert 1000 < found.mask.sum() < 3000
    worst = max(
        abs(one - other) for one, other in zip(told, found.data.tolist(), strict=True) if one
    )
    assert worst < 1e-9


def _one_by_one(reading: float, temperature_c: float) -> float | None:
    try:
        return mass_fraction_from_conductivity(reading, temperature_c)
    except NotBrine:
        return None


@pytest.mark.parametrize("count", [0, 1, 8191, 8192, 8193, 20_000])
def test_any_number_of_values(count: int) -> None:
    """None, one, a full block, one more or less: each value is done, and its own."""
    strengths = np.linspace(0.02, 0.25, count)
    conducts = np.array([conductivity(w, 12.0) for w in strengths.tolist()])
    found = mass_fractions_from_conductivity(conducts, np.full(count, 12.0))
    assert found.shape == (count,)
    assert np.allclose(found.data, strengths, rtol=0.0, atol=1e-9)


def test_any_layout_of_memory() -> None:
    """Every other value of a table, backwards, read-only, or whole numbers: the same answers."""
    conducts, warm = np.arange(6, 18), np.full(12, 15)
    expected = [mass_fraction_from_conductivity(float(k), 15.0) for k in conducts]
    twice = np.repeat(conducts[::-1], 2).astype(float)
    twice.flags.writeable = False
    for found in (
        mass_fractions_from_conductivity(conducts, warm),
        mass_fractions_from_conductivity(twice[::-2], warm.astype(float)),
    ):
        assert np.allclose(found.data, expected, rtol=0.0, atol=1e-9)


def test_what_is_given_is_left_alone() -> None:
    """The caller's arrays hold afterwards what they held before."""
    conducts, warm = np.linspace(-1.0, 30.0, 500), np.linspace(-30.0, 45.0, 500)
    before = conducts.copy(), warm.copy()
    mass_fractions_from_conductivity(conducts, warm)
    assert (conducts == before[0]).all()
    assert (warm == before[1]).all()


def test_the_compiled_search_is_the_other_one() -> None:
    """From saturation down to nothing, -21 to 40 degC: the same root to the last digits."""
    for t in np.linspace(-21.1, 40.0, 60).tolist():
        most = most_liquid(t)
        isotherm, at = Isotherm(t, most), curve(t, most)
        assert at.most_log == pytest.approx(isotherm.most_log, abs=1e-13)
        for below in [0.0, 1e-9, 1e-4, 0.01, 0.1, 0.5, 2.0, 10.0, 40.0, 700.0]:
            one = isotherm.mass_fraction(isotherm.most_log - below)
            assert root(at, at.most_log - below) ** 2 == pytest.approx(one, rel=2e-12, abs=1e-300)
