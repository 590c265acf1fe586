"""The strengths of the last minutes: their middle, and what is forgotten."""

import random
from statistics import median_high

from brineward.physics.salinity import Salinity, salinity
from brineward.plant.strengths import Strengths
from brineward.readings.instants import SECOND, Instant
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


def looked_up(known: list[tuple[Instant, Salinity]], span_seconds: float) -> Salinity:
    """The middle as `middle` promises it, by looking at everything that there was."""
    newest = known[-1][0]
    latest: list[Salinity] = []
    for time, found in reversed(known):
        if time < newest - span_seconds * SECOND and len(latest) >= 3:
            break
        latest.append(found)
    return sorted(latest, key=lambda one: one.mass_fraction)[len(latest) // 2]


def test_what_is_kept_in_order_is_the_same_as_sorted_anew() -> None:
    """Also where strengths are equal and only their doubt differs, after silences, after a restart
    in the middle: the newest of equal ones counts as the first."""
    draw = random.Random(5)
    strengths, known, time = Strengths(), list[tuple[Instant, Salinity]](), 0
    for n in range(3000):
        time += draw.choice((2, 5, 5, 30, 200, 900)) * SECOND
        value, doubt = draw.choice((0.20, 0.21, 0.22, 0.23)), draw.uniform(0.001, 0.002)
        found = Salinity(value, doubt, (value - doubt, value + doubt))
        strengths.add(time, found)
        known.append((time, found))
        if n % 500 == 250:
            restored = Strengths()
            restored.restore(strengths.snapshot())
            strengths = restored
        for span in (600.0, 180.0, 0.0):
            middle, meant = strengths.middle(span), looked_up(known[-400:], span)
            assert middle is not None
            assert middle[:2] == meant[:2], (n, span)
