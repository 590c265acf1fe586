"""The sequential test of a loss, against its own theory."""

import math
import random

import pytest

from brineward.plant.loss_test import (
    BACKGROUND_M_PER_H,
    KEPT,
    LossTest,
    smallest_found_m_per_h,
)
from brineward.readings.instants import DAY, HOUR, MINUTE
from depots import START

LIMIT = 0.01
BLOCK = 10 * MINUTE


def fed(test: LossTest, m_per_h: float, hours: float, *, begin: int = START) -> float:
    """A steady fall; returns after how many hours it was first announced, infinity if never."""
    told = math.inf
    for n in range(round(hours * 6)):
        at = begin + n * BLOCK
        test.add(at, at + BLOCK, m_per_h / 6, area_m2=4.5, limit=LIMIT)
        if test.losing and told == math.inf:
            told = (n + 1) / 6
    return told


@pytest.mark.parametrize("within", [12.0, 48.0, 120.0])
def test_the_smallest_leak_that_is_promised_is_told_in_time(within: float) -> None:
    """And one a tenth above the background alone needs longer."""
    assert fed(LossTest(), smallest_found_m_per_h(LIMIT, within) * 1.001, within) <= within
    assert fed(LossTest(), BACKGROUND_M_PER_H * 1.1, within) == math.inf


def test_no_loss_below_the_background_is_told_in_a_season() -> None:
    """What dries up or drifts for half a year adds up to nothing."""
    test = LossTest()
    assert fed(test, BACKGROUND_M_PER_H, 180 * 24.0) == math.inf
    assert test.evidence_m == 0.0


def test_it_says_when_the_loss_began_how_much_and_how_fast() -> None:
    """Where the evidence last was nothing: here exactly, since before nothing was lost."""
    test = LossTest()
    fed(test, 0.0, 24.0)
    told = fed(test, 0.004, 12.0, begin=START + DAY)
    assert told == pytest.approx(LIMIT / (0.004 - BACKGROUND_M_PER_H), abs=1 / 3)
    assert test.since == START + DAY
    assert test.fell_m == pytest.approx(0.048)
    assert test.lost_m3 == pytest.approx(0.048 * 4.5)
    assert test.rate_m3_per_h == pytest.approx(0.004 * 4.5)


def test_one_step_is_no_leak_and_four_are() -> None:
    """A bucket drawn counts for a quarter of the limit, however large it was."""
    test = LossTest()
    for n in range(4):
        assert not test.losing
        test.add(START + n * BLOCK, START + (n + 1) * BLOCK, 0.5, area_m2=4.5, limit=LIMIT)
    assert not test.losing, "the background is taken off each step"
    test.add(START + 4 * BLOCK, START + 5 * BLOCK, 0.5, area_m2=4.5, limit=LIMIT)
    assert test.losing


def test_it_clears_when_as_much_speaks_against_half_the_rate() -> None:
    """A repaired leak is reported as cleared; one that goes on more slowly than told is not."""
    test = LossTest()
    fed(test, 0.004, 6.0)
    assert test.losing
    fed(test, 0.0025, 48.0, begin=START + DAY)
    assert test.losing
    fed(test, 0.0, 4.8, begin=START + 4 * DAY)
    assert test.losing
    fed(test, 0.0, 0.6, begin=START + 5 * DAY)
    assert not test.losing
    assert test.evidence_m == 0.0


def test_evidence_fades() -> None:
    """Half of the limit in one day, and as much again four weeks later, is no leak."""
    test = LossTest()
    fed(test, 0.001, 8.0)
    kept = test.evidence_m
    assert 0.6 * LIMIT < kept < LIMIT
    fed(test, 0.001, 4.0, begin=START + KEPT)
    assert not test.losing
    assert test.evidence_m < kept


def test_run_length_without_a_loss_is_as_brownian_theory_has_it() -> None:
    """The mean time to a false alarm by purely random steps is that of Page's test in theory.

    Source: for Brownian motion with drift -k and variance s2 a unit of time and a limit h it is
    s2 / (2 k2) (exp(2 k h / s2) - 1 - 2 k h / s2), and for steps of a finite size the limit counts
    as 1.166 standard deviations more (Siegmund, Sequential Analysis, 1985; from memory). That a
    step is held to a quarter of the limit, 2.5 deviations here, makes it longer still.
    """
    per_block, limit = 0.1e-3, 1.0e-3
    drift = BACKGROUND_M_PER_H / 6
    draw, lengths = random.Random(4), []
    for _ in range(20):
        test, count = LossTest(), 0
        while not test.losing:
            at = START + count * BLOCK
            test.add(at, at + BLOCK, draw.gauss(0.0, per_block), area_m2=4.5, limit=limit)
            count += 1
        lengths.append(count)
    ratio = 2 * drift / per_block**2
    high = limit + 1.166 * per_block
    theory = (math.exp(ratio * high) - 1 - ratio * high) * per_block**2 / (2 * drift**2)
    assert 0.6 < sum(lengths) / len(lengths) / theory < 2.0


def test_what_it_remembers_is_all_of_it() -> None:
    """A restart in the middle goes on to the same end, announced and cleared."""
    one = LossTest()
    fed(one, 0.003, 2.0)
    other = LossTest()
    other.restore(one.snapshot())
    for test in (one, other):
        fed(test, 0.003, 6.0, begin=START + 2 * HOUR)
    assert one.losing
    assert one.snapshot() == other.snapshot()
