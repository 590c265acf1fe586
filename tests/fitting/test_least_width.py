"""The bound on the interval's width is honest: its sizes are those that the years are drawn by."""

import numpy as np
import pytest

from brineward.fitting import rough_seasons
from brineward.fitting.least_width import Told, least_estimate, least_rows
from brineward.fitting.rough_seasons import drawn_rough, rows_of
from brineward.fitting.seasons import DAYS


@pytest.fixture(scope="module")
def told() -> dict[bool, list[Told]]:
    """Years without film and slips, with a density meter and without."""
    with pytest.MonkeyPatch.context() as patch:
        patch.setattr(rough_seasons, "SLIPS", 0.0)
        rough = [drawn_rough(np.random.default_rng([1203, number])) for number in range(60)]
    calm = [one.season for one in rough if one.film == "none"]
    assert len(calm) > 20
    return {
        metered: [least_estimate(one, metered=metered) for one in calm] for metered in (False, True)
    }


@pytest.mark.parametrize("metered", [False, True])
def test_the_best_estimate_errs_as_it_says(told: dict[bool, list[Told]], metered: bool) -> None:
    """A size forgotten makes it err by more, one too much by less; days of a year err together, so
    four days far apart are taken of each."""
    days = np.arange(90, DAYS, 90)
    parted = np.array([one.off[days] / one.standard_uncertainty[days] for one in told[metered]])
    assert np.sqrt(np.mean(parted**2)) == pytest.approx(1.0, abs=0.15)
    assert np.mean(np.abs(parted) <= 1.96) == pytest.approx(0.95, abs=0.04)


def test_a_density_meter_narrows_it(told: dict[bool, list[Told]]) -> None:
    """On every day: what is known more is never worth less."""
    for plain, metered in zip(told[False], told[True], strict=True):
        assert np.all(metered.standard_uncertainty <= plain.standard_uncertainty + 1e-12)


def test_the_service_is_no_narrower_than_the_best() -> None:
    """On the same days of the same years; near a test it is narrower than over all."""
    best, rows = least_rows(3, 1203), rows_of(3, 1203)
    assert len(best) == len(rows)
    assert np.median([one.half for one in best]) < np.nanmedian([row.half for row in rows])
    fresh = [one.half for one in best if one.fresh]
    assert np.median(fresh) < np.median([one.half for one in best])
