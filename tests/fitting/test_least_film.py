"""The bound on how soon a film can be reported is honest: chance alone is as large as it says."""

import numpy as np
import pytest
from scipy.linalg import solve_triangular

from brineward.fitting import rough_seasons
from brineward.fitting.conductivity_rows import Floats
from brineward.fitting.least_film import LOOKS, apart, films, power
from brineward.fitting.least_width import triangle_of, witnesses
from brineward.fitting.rough_seasons import Rough, drawn_rough
from brineward.fitting.seasons import DAYS, TARGET


@pytest.fixture(scope="module")
def calm() -> list[Rough]:
    """Years without film and slips."""
    with pytest.MonkeyPatch.context() as patch:
        patch.setattr(rough_seasons, "SLIPS", 0.0)
        rough = [drawn_rough(np.random.default_rng([3127, number])) for number in range(120)]
    found = [one for one in rough if one.film == "none"]
    assert len(found) > 40
    return found


def _creeping(a_day: float) -> Floats:
    return np.maximum(np.arange(DAYS) - 120.0, 0.0) * a_day


def test_what_chance_does_is_as_large_as_the_bound_says(calm: list[Rough]) -> None:
    """The likelihood ratio of made years without a film, in its own standard deviations; an error
    that the bound doesn't count would make it larger.
    """
    found = []
    for one in calm:
        seen = witnesses(one.season)
        off = seen.off + seen.strength * (one.season.mass_fraction[seen.days] - TARGET)
        shift = np.where(seen.readings, np.log1p(-_creeping(0.0007)[seen.days]), 0.0)
        white = solve_triangular(triangle_of(seen), np.column_stack([shift, off]), lower=True)
        for day in (150, 180):
            known = seen.days <= day
            film, chance = white[known].T
            found.append(film @ chance / np.sqrt(film @ film))
    assert np.std(found) == pytest.approx(1.0, abs=0.1)
    assert abs(np.mean(found)) < 0.35


def test_a_film_and_none_draw_apart_as_it_grows(calm: list[Rough]) -> None:
    """Nothing before it came, never less with one more witness; twice the film, twice as far."""
    seen = witnesses(calm[0].season)
    slow, fast = (apart(seen, _creeping(rate)) for rate in (0.0003, 0.0006))
    assert np.all(slow[seen.days <= 120] == 0.0)
    assert np.all(np.diff(slow) >= 0.0)
    assert fast[-1] == pytest.approx(2.0 * slow[-1], rel=0.05)


def test_without_a_film_only_the_false_reports_are_left() -> None:
    """One in as many looks; at the threshold itself half of the films are reported."""
    assert power(0.0) == pytest.approx(1.0 / LOOKS)
    assert power(1.9379, false_reports=0.02632) == pytest.approx(0.5, abs=1e-3)


def test_the_power_grows_with_each_test() -> None:
    """In every year, from the first test to the eighth."""
    for one in films(4, 3127, 0.0, 0.02):
        assert list(one.by_test) == sorted(one.by_test)
        assert one.standing < one.by_test[-1]
