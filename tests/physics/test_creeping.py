"""A film that grows by a share of a look's noise a day, seen by all tests and looks together."""

from collections.abc import Callable

import numpy as np
import pytest

from brineward.physics.calibration import Calibration
from brineward.physics.calibration_prior import DAY_SECONDS, Sizes
from brineward.physics.conductivity import conductivity
from brineward.physics.creeping import Film
from brineward.physics.probe_test import probe_test
from brineward.physics.stands import look

SIZES = Sizes(0.01, 0.3)
TEST_EVERY, STAND_OF = 10, 6
"""Days."""

Lost = Callable[[float], float]
"""The share of the reading that is lost, by the day."""


def played(
    lost: Lost, days: int, *, seed: int = 1, cleaned_on: int = -1
) -> list[tuple[int, Calibration, Film | None]]:
    """Each day's look at brine of another strength every six days, a test every ten, with noise."""
    random = np.random.default_rng([20770, seed])
    found = Calibration(SIZES)
    shown = []
    strength = 0.233
    for day in range(days):
        if day % STAND_OF == 0:
            strength = float(random.normal(0.233, 0.004))
        warmth = 8.0 + 3.0 * float(np.sin(day / 9.0))
        true = conductivity(strength, warmth)
        read = true * (1.0 - lost(day)) * float(np.exp(0.002 * random.standard_normal()))
        reading = {
            "conductivity_s_per_m": read,
            "temperature_c": warmth,
            "conductivity_standard_uncertainty": 0.01 * read,
            "temperature_standard_uncertainty": 0.3,
            "apart_standard_uncertainty_k": 0.1,
        }
        seconds = day * DAY_SECONDS
        if day % TEST_EVERY == 3:
            marked = strength + 0.0009 * float(random.standard_normal())
            found.observe(
                probe_test(marked, 0.0013, seconds=seconds, cleaned=day == cleaned_on, **reading)
            )
        began = (day // STAND_OF * STAND_OF) * DAY_SECONDS
        about = look(0.233, seconds=seconds + 60.0, stand=began, **reading)
        found.look(about)
        shown.append((day, found, found.film()))
    return shown


def grows(a_month: float, since: int = 60) -> Lost:
    """A film that begins then."""
    return lambda day: a_month * max(day - since, 0) / 30.0


@pytest.mark.parametrize("seed", range(4))
def test_a_film_that_creeps_is_seen(seed: int) -> None:
    """2 % a month, over fills that change the strength by more than it: seen within six weeks."""
    days = played(grows(0.02), 103, seed=seed)
    seen = next((day for day, _, film in days if film is not None), 999)
    assert 60 < seen <= 60 + 42


@pytest.mark.parametrize("seed", range(2))
def test_its_rate_is_told(seed: int) -> None:
    """After two months of 3 % a month: within three tenths of it, and 6 % lost to 2 %."""
    *_, (_, _, film) = played(grows(0.03), 121, seed=seed)
    assert film is not None
    assert film.per_month == pytest.approx(0.03, rel=0.3)
    assert film.grown == pytest.approx(0.06, abs=0.02)


@pytest.mark.parametrize("lost", [0.0, -0.02])
def test_a_probe_that_keeps_or_comes_to_read_more_has_no_film(lost: float) -> None:
    """A film makes a probe read less: nothing is seen where it reads as it did, or ever more."""
    assert all(film is None for _, _, film in played(grows(lost), 121, seed=7))


def test_a_cleaning_ends_it() -> None:
    """A test that says that the probe was cleaned: the film is gone, and the next may be seen."""

    def lost(day: float) -> float:
        return grows(0.04, 30)(day) if day < 103 else 0.0

    days = played(lost, 112, seed=3, cleaned_on=103)
    assert days[102][2] is not None
    assert days[104][2] is None


def test_written_and_read_back_it_is_the_same_film() -> None:
    """The film that looks have shown outlives the looks that showed it."""
    *_, (_, found, film) = played(grows(0.04, 30), 90, seed=5)
    again = Calibration(SIZES)
    again.thaw(found.freeze())
    assert film is not None
    assert again.film() == film
