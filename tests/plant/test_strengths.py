"""The strengths of the last minutes: their middle, and what is forgotten."""

import random
from statistics import median_high

from brineward.physics.salinity import salinity
from brineward.plant.strengths import Strengths
from brineward.readings.instants import SECOND
from depots import brine


def shown(strengths: Strengths, values: list[float], since: int = 0) -> None:
    """One reading every ten seconds."""
    for n, value in enumerate(values):
        found = salinity(
            brine(value, 5.0),
            5.0,
            conductivity_standard_uncertainty=0.1,
            temperature_standard_uncertainty=0.2,
        )
        strengths.add((since + n * 10) * SECOND, found)


def test_the_middle_is_the_median_of_the_span() -> None:
    """Of nineteen readings in three minutes and their ends, and of sixty-one in ten minutes."""
    draw = random.Random(2)
    values = [draw.uniform(0.20, 0.23) for _ in range(100)]
    strengths = Strengths()
    shown(strengths, values)
    for span, count in ((180.0, 19), (600.0, 61), (0.0, 3)):
        middle = strengths.middle(span)
        assert middle is not None
        assert abs(middle.mass_fraction - median_high(values[-count:])) < 1e-6
        assert middle.low < middle.mass_fraction < middle.high


def test_a_new_reading_is_a_new_middle_and_a_bared_probe_none() -> None:
    """What was found for the reading before is not kept; after baring nothing is known."""
    strengths = Strengths()
    shown(strengths, [0.20, 0.21, 0.22])
    first = strengths.middle(0.0)
    shown(strengths, [0.23], since=30)
    assert strengths.middle(0.0) != first
    strengths.forget()
    assert strengths.middle(180.0) is None


def test_it_comes_back_from_plain_data() -> None:
    """A restart goes on with the same middle."""
    strengths, other = Strengths(), Strengths()
    shown(strengths, [0.20, 0.23, 0.21, 0.22])
    other.restore(strengths.snapshot())
    assert other.middle(180.0) == strengths.middle(180.0)
