"""Brine that seems to weaken no faster than a film grows."""

import pytest
from hypothesis import given
from hypothesis import strategies as st

from brineward.physics.conductivity import log_conductivity
from brineward.plant.slow_fall import (
    BETWEEN_RESTS,
    FASTEST_A_MONTH,
    Rest,
    fallen_slowly,
    film_takes,
)
from brineward.readings.instants import DAY
from depots import START

LIMIT, COLD_C = 0.22, 5.0


def fallen(
    strengths: list[float], shown: float, *, every: float = 1.0, cold: float = COLD_C
) -> float:
    """What is said of strengths at rest, so many days apart, and one that is shown after them."""
    rests: list[Rest] = [
        (START + round(day * every * DAY), strength) for day, strength in enumerate(strengths)
    ]
    now = START + round(len(strengths) * every * DAY)
    return fallen_slowly(rests, tested=START, now=now, shown=shown, celsius=cold, limit=LIMIT)


def test_what_a_film_takes_is_what_the_curve_says() -> None:
    """5 % of the reading in thirty days: half a percent in three, in brine of 22 % at 5 degC."""
    lost = film_takes(START, START + 3 * DAY, LIMIT, COLD_C)
    less = log_conductivity(LIMIT, COLD_C) - log_conductivity(LIMIT - lost, COLD_C)
    assert less == pytest.approx(FASTEST_A_MONTH / 10, rel=0.1)


def test_a_slow_fall_may_be_a_film() -> None:
    """From 22.4 to 21.8 % in ten days: by how much since the test is said."""
    assert fallen([0.224 - 0.0006 * day for day in range(10)], 0.218) == pytest.approx(0.006)


def test_a_fall_of_two_days_is_brine() -> None:
    """Eight days as tested, then 0.6 % in two."""
    assert fallen([0.224] * 9 + [0.221], 0.218) == 0.0


def test_a_fall_in_the_last_fill_is_brine() -> None:
    """The same lack, all of it since yesterday."""
    assert fallen([0.224 - 0.0001 * day for day in range(10)], 0.218) == 0.0


def test_more_than_a_film_takes_is_brine() -> None:
    """From 23.3 to 21.5 % in ten days, however gradual: a film has taken 1 % of salt at most."""
    assert film_takes(START, START + 10 * DAY, 0.215, COLD_C) < 0.0105
    assert fallen([0.233 - 0.0018 * day for day in range(10)], 0.215) == 0.0


def test_brine_that_was_weak_when_it_was_tested_is_weak() -> None:
    """No film has come since."""
    assert fallen([0.2195] * 10, 0.218) == 0.0


def test_without_a_rest_since_the_test_nothing_is_known() -> None:
    """A tank that was loaded from all the while."""
    assert (
        fallen_slowly(
            [], tested=START, now=START + 30 * DAY, shown=0.218, celsius=COLD_C, limit=LIMIT
        )
        == 0.0
    )


@given(
    st.lists(st.floats(0.20, 0.26), min_size=1, max_size=20),
    st.floats(0.15, LIMIT),
    st.floats(0.2, 3.0),
    st.floats(-25.0, 40.0),
)
def test_what_may_be_a_film_is_within_a_films_reach(
    strengths: list[float], shown: float, every: float, cold: float
) -> None:
    """Of the lack, and of what was lost since each rest; a warmer rest later only makes it less."""
    found = fallen(strengths, shown, every=every, cold=cold)
    days = round(len(strengths) * every * DAY)
    reach = film_takes(START, START + days, shown, cold)
    if found:
        assert shown + reach >= LIMIT - 1e-6
        assert found == pytest.approx(strengths[0] - shown, abs=1e-6)
        assert found <= reach + BETWEEN_RESTS + 1e-6
        assert not fallen([*strengths[:-1], shown + reach + 0.01], shown, every=every, cold=cold)
