"""A film that grows by a share of a look's noise a day, seen by all tests and looks together."""

from collections.abc import Callable

import numpy as np
import pytest
from hypothesis import given
from hypothesis import strategies as st

from brineward.physics.calibration import Calibration
from brineward.physics.calibration_prior import (
    DAY_SECONDS,
    NEVER,
    RATE,
    RATE_WANDERS,
    Sizes,
    point,
    probe_covariance,
)
from brineward.physics.conductivity import conductivity
from brineward.physics.creeping import Film, mixed, mixed_held, probability_of
from brineward.physics.estimate import Factor, Held
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


def test_a_film_that_is_suspected_moves_and_widens_the_factor_before_it_is_seen() -> None:
    """The day before it is believed; and a service that was started again knows it, too."""
    seen = next(day for day, _, film in played(grows(0.02), 103, seed=2) if film is not None)
    *_, (day, found, film) = played(grows(0.02), seen, seed=2)
    assert film is None
    seconds, about = day * DAY_SECONDS + 3600.0, 0.233
    test = probe_test(
        about,
        0.0013,
        seconds=seconds,
        conductivity_s_per_m=conductivity(about, 8.0),
        temperature_c=8.0,
        conductivity_standard_uncertainty=0.1,
        temperature_standard_uncertainty=0.3,
    )
    without, factor = found.expected(test), found.factor_at(seconds, 8.0, test.mass_fraction)
    assert factor.log_factor > without.log_factor + 0.0005
    assert factor.standard_uncertainty > 1.02 * without.standard_uncertainty
    again = Calibration(SIZES)
    again.thaw(found.freeze())
    assert again.factor_at(seconds, 8.0, test.mass_fraction) == factor


@pytest.mark.parametrize(("first", "second"), [(30, 120), (120, 30), (60, 60), (0, 90)])
def test_a_films_rate_wanders_as_a_random_walk(first: int, second: int) -> None:
    """Against the double integral of a random walk's covariance, the shorter of two times."""
    film = NEVER._replace(creeps=0.0)
    a, b = (point(days * DAY_SECONDS, 8.0, 0.233, film) for days in (first, second))
    clean = [one._replace(crept=0.0) for one in (a, b)]
    found = probe_covariance(a, b, SIZES) - probe_covariance(clean[0], clean[1], SIZES)
    u, v = ((np.arange(800) + 0.5) / 800 * one.crept for one in (a, b))
    wandered = float(np.minimum.outer(u, v).mean()) * a.crept * b.crept
    expected = RATE**2 * (a.crept * b.crept + RATE_WANDERS**2 * wandered)
    assert found == pytest.approx(expected, rel=1e-4, abs=1e-12)


def test_a_film_that_is_just_believed_is_as_probable_as_not() -> None:
    """The two say the same of it, and more evidence makes it more probable."""
    chances = [probability_of(likelier) for likelier in (0.0, 2.0, 4.0, 6.0)]
    assert chances == sorted(chances)
    assert chances[2] == 0.5
    assert chances[0] == pytest.approx(0.018, abs=0.001)


MEANS = st.floats(-0.2, 0.2)
SPREADS = st.floats(1e-4, 0.05)


FACTORS = st.builds(Factor, MEANS, SPREADS)


@given(FACTORS, FACTORS, MEANS, st.floats(0.0, 1.0))
def test_the_mean_of_both_has_the_moments_of_a_mixture(
    without: Factor, with_film: Factor, apart: float, p: float
) -> None:
    """The means of x, of its square, and of its product with the factor are the weighted ones."""
    found = mixed(without, with_film, p)
    mean, other_mean = without.log_factor, with_film.log_factor
    assert found.log_factor == pytest.approx((1 - p) * mean + p * other_mean, abs=1e-12)
    square = (1 - p) * (without.standard_uncertainty**2 + mean**2)
    square += p * (with_film.standard_uncertainty**2 + other_mean**2)
    assert found.standard_uncertainty**2 + found.log_factor**2 == pytest.approx(square, abs=1e-12)
    one, other = (Held(x, 0.01, 1e-5, 8.0, 0.02) for x in (2.0, 2.0 + apart))
    held = mixed_held(one, other, p, other_mean - mean)
    product = (1 - p) * (1e-5 + 2.0 * mean) + p * (1e-5 + (2.0 + apart) * other_mean)
    both = held.with_factor + held.log_conductivity * found.log_factor
    assert both == pytest.approx(product, abs=1e-6)
