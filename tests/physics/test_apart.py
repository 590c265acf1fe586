"""What standing brine shows of the temperature difference between a probe and its thermometer."""

import json
import math
from functools import cache

import numpy as np
import pytest

from brineward.physics.apart import LEAST, MOST, MOST_COUNTED, Apart
from brineward.physics.calibrated import calibrated_word
from brineward.physics.calibration import Calibration
from brineward.physics.calibration_prior import DAY_SECONDS, sizes_of
from brineward.physics.conductivity import conductivity
from brineward.physics.probe_test import apart_varies_k, probe_test
from brineward.physics.stands import Look, Stands, look

BRINE = 0.233
APART_K = 0.1
"""As the config says."""


def drawn(varies_k: float, number: int, random: np.random.Generator) -> tuple[float, float]:
    """What probe and thermometer read of one brine, eight hours after one another.

    Temperature at the probe differs each time by `varies_k` (standard deviation, K), and the
    sensors by as much as their data sheets say.
    """
    temperature_c = 6.0 + 4.0 * math.sin(number / 40.0)
    apart = varies_k * random.standard_normal()
    noise = 0.15 * random.standard_normal(2)
    read = conductivity(BRINE, temperature_c + apart) * math.exp(0.01 * noise[0])
    return float(read), float(temperature_c + 0.3 * noise[1])


def seen(number: int, read: float, read_c: float, apart_k: float = APART_K) -> Look:
    """An observation of those readings."""
    return look(
        BRINE,
        seconds=number / 3 * DAY_SECONDS,
        stand=0.0,
        conductivity_s_per_m=read,
        temperature_c=read_c,
        conductivity_standard_uncertainty=0.01 * read,
        temperature_standard_uncertainty=0.3,
        apart_standard_uncertainty_k=apart_k,
    )


@cache
def learnt(varies_k: float, seed: int) -> Apart:
    """By sixty days of standing brine."""
    random = np.random.default_rng(seed)
    found = Stands(sizes_of(0.01, 0.3, APART_K))
    for number in range(180):
        found.take(seen(number, *drawn(varies_k, number, random)))
    return found.apart


def stood(varies_k: float, apart_k: float = APART_K) -> Calibration:
    """A probe that was tested twice and then observed for three days; of the sixty days before
    there is what was learnt."""
    random = np.random.default_rng(4711)
    found = Calibration(sizes_of(0.01, 0.3, apart_k))
    if apart_k > 0.0:
        found.stands.apart = learnt(varies_k, 4711)
    for number in range(180, 189):
        said = drawn(varies_k, number, random)
        if number in (180, 187):
            found.observe(_tested(number / 3, *said, apart_k))
        found.look(seen(number, *said, apart_k))
    return found


def _tested(day: float, read: float, read_c: float, apart_k: float = APART_K):
    """A test beside one reading."""
    return probe_test(
        BRINE,
        0.0013,
        seconds=day * DAY_SECONDS,
        conductivity_s_per_m=read,
        temperature_c=read_c,
        conductivity_standard_uncertainty=0.01 * read,
        temperature_standard_uncertainty=0.3,
        apart_standard_uncertainty_k=apart_k,
    )


def half(found: Calibration) -> float:
    """Half of the interval of a reading by itself, as a mass fraction, at 6 degC."""
    read = conductivity(BRINE, 6.0)
    told = calibrated_word(
        found,
        read,
        6.0,
        seconds=63.0 * DAY_SECONDS,
        conductivity_standard_uncertainty=0.01 * read,
        temperature_standard_uncertainty=0.3,
        apart_standard_uncertainty_k=APART_K,
    ).salinity
    return (told.interval_95[1] - told.interval_95[0]) / 2.0


@pytest.mark.parametrize("size", [0.5, 1.0, 1.6])
def test_the_size_is_found(size: float) -> None:
    """Six tanks of sixty days: in the mean the ratio is the true one, to a quarter."""
    true = size * apart_varies_k(APART_K)
    found = [learnt(true, seed).ratio for seed in range(6)]
    assert np.mean(found) == pytest.approx(size * size, rel=0.25, abs=0.15)


def test_a_tank_of_one_temperature_is_known_better_and_one_of_many_worse() -> None:
    """The interval near a test follows what standing brine has shown, in both directions."""
    usual = apart_varies_k(APART_K)
    calm, as_told, rough = (half(stood(size * usual)) for size in (0.3, 1.0, 2.0))
    assert calm < 0.97 * as_told
    assert rough > 1.1 * as_told


def test_nothing_is_learnt_where_the_config_says_there_is_no_difference() -> None:
    """A ratio to nothing says nothing."""
    found = stood(0.05, apart_k=0.0)
    assert found.stands.apart == Apart()
    assert found.stands.apart.ratio == 1.0


def test_a_test_is_weighed_with_the_same_size() -> None:
    """What the reading beside a test may be off by is what readings were found to be off by: a calm
    tank's next test moves the factor further."""
    moved = []
    for size in (0.3, 1.0):
        found = stood(size * apart_varies_k(APART_K))
        read = conductivity(BRINE, 6.0)
        was = found.factor_at(64 * DAY_SECONDS, 6.0, BRINE)
        found.observe(_tested(64.0, read * math.exp(-0.004), 6.0))
        now = found.factor_at(64 * DAY_SECONDS, 6.0, BRINE)
        moved.append(now.log_factor - was.log_factor)
    assert moved[0] > 1.02 * moved[1] > 0.0


def test_a_film_that_comes_at_once_is_no_weather() -> None:
    """Eight percent less from one observation to the next hardly changes what was learnt."""
    found = stood(apart_varies_k(APART_K))
    before = found.stands.apart
    change = found.look(seen(190, conductivity(BRINE, 6.0) * 0.92, 6.0))
    assert change is not None
    assert found.stands.apart == before
    once = before.seen(-0.08, 6e-6, 0.0015)
    assert once.ratio == before.seen(-0.0074, 6e-6, 0.0015).ratio
    assert once.ratio < before.ratio + 0.35


def test_it_forgets_what_was_long_ago_and_keeps_within_its_limits() -> None:
    """Half of what counts is of the newest observations, and no run of luck makes it 0."""
    found = Apart()
    for _ in range(5000):
        found = found.seen(0.0, 6e-6, 0.0015)
    assert found.ratio == LEAST
    assert found.counted <= MOST_COUNTED
    for _ in range(5000):
        found = found.seen(0.02, 6e-6, 0.0015)
    assert found.ratio == MOST
    assert found.counted <= MOST_COUNTED


def test_written_and_read_back_it_is_the_same() -> None:
    """Also by way of JSON; what an older version wrote has learnt nothing yet."""
    found, again = stood(0.05), Calibration(sizes_of(0.01, 0.3, APART_K))
    again.thaw(json.loads(json.dumps(found.freeze())))
    assert again.stands.apart == found.stands.apart != Apart()
    assert half(again) == half(found)
    old = found.freeze()
    del old["stands"]["apart"]
    old["stands"]["looks"] = [one[:10] for one in old["stands"]["looks"]]
    old["tests"] = [one[:7] for one in old["tests"]]
    again.thaw(old)
    assert again.stands.apart == Apart()
    assert half(again) > 0.0
