"""A spiking sensor: what is a spike, what is none, and how many are told."""

import json
import random

import pytest
from hypothesis import given, settings
from hypothesis import strategies as st

from brineward.plant.plan import Measure, SensorPlan
from brineward.plant.spikes import Spikes
from depots import START, sensor

LEVEL = sensor("level", Measure.LEVEL, "main", low=0.0, high=2.6)
PROBE = sensor("cond", Measure.CONDUCTIVITY, "main", low=0.0, high=20.0, standard_uncertainty=0.05)


def steady(count: int, seed: int = 1, about: float = 1.5, spread: float = 0.002) -> list[float]:
    """Readings with a little noise."""
    draw = random.Random(seed)
    return [about + draw.gauss(0.0, spread) for _ in range(count)]


def hear(values: list[float], plan: SensorPlan = LEVEL) -> Spikes:
    """What is known after these readings."""
    spikes = Spikes(plan)
    give(spikes, values)
    return spikes


def give(spikes: Spikes, values: list[float], since: int = 1, *, counts: bool = True) -> list[bool]:
    """Readings ten seconds apart, from the one at `since` on, each with the one before it."""
    return [
        spikes.add(
            START + place * 10_000,
            values[place - 1],
            START + (place - 1) * 10_000,
            values[place],
            counts=counts,
        )
        for place in range(since, len(values))
    ]


@pytest.mark.parametrize("wild", [0.0, 1.2, 1.8, 2.6])
def test_six_wild_readings_of_two_hundred_are_told(wild: float) -> None:
    """Five are not; each is known for a spike by the reading after it."""
    values = steady(400)
    for place in range(210, 210 + 5 * 30, 30):
        values[place] = wild
    assert not hear(values[:390]).spiking
    values[380] = wild
    assert not hear(values[:381]).spiking
    assert hear(values[:382]).spiking
    assert hear(values[:382]).count == 6


def test_it_is_over_when_one_is_left_of_them() -> None:
    """Two hundred readings after the last but one."""
    values = steady(700)
    for place in range(100, 160, 10):
        values[place] = 0.3
    assert hear(values[: 140 + 200]).spiking
    assert not hear(values[: 140 + 202]).spiking


@pytest.mark.parametrize("step", [0.2, -0.2, 1.0])
def test_steps_are_no_spikes(step: float) -> None:
    """A pump's pressure, flow and current jump at each start and stop, and stay."""
    values = []
    for turn in range(40):
        values += steady(2 + turn % 3, seed=turn, about=1.2 + (step if turn % 2 else 0.0))
    assert hear(values).count == 0


@pytest.mark.parametrize("spread", [0.01, 0.03, 0.1, 0.2, 0.4])
def test_what_its_own_noise_does_is_no_spike(spread: float) -> None:
    """A sensor that scatters by some percent of its range is noisy, and that is another matter."""
    spikes = Spikes(LEVEL)
    assert not any(give(spikes, steady(20_000, spread=spread)))


@pytest.mark.parametrize("depth", [0.02, 0.05, 0.09])
def test_bubbles_are_no_spikes(depth: float) -> None:
    """Up to five percent of the reading for a moment, however narrow the range is said to be."""
    draw = random.Random(4)
    narrow = sensor(
        "cond", Measure.CONDUCTIVITY, "main", low=12.0, high=20.0, standard_uncertainty=0.02
    )
    values = [17.0 * (1.0 - (depth if draw.random() < 0.1 else 0.0)) for _ in range(600)]
    assert hear(values, narrow).count == 0
    assert hear(values, PROBE).count == 0


def test_a_probe_that_waves_may_bare_is_not_judged() -> None:
    """What it says may be true."""
    spikes = Spikes(PROBE)
    give(spikes, [0.0 if place % 10 == 0 else 17.0 for place in range(300)], counts=False)
    assert spikes.count == 0


@settings(max_examples=50, deadline=None)
@given(st.integers(0, 2**32), st.floats(0.0005, 0.01), st.floats(-0.002, 0.002))
def test_steady_and_moving_readings_have_no_spikes(seed: int, spread: float, slope: float) -> None:
    """Noise on a level that rests, rises or falls."""
    draw = random.Random(seed)
    assert hear([1.3 + slope * n + draw.gauss(0.0, spread) for n in range(500)]).count == 0


@settings(max_examples=50, deadline=None)
@given(
    st.lists(st.sampled_from([0.0, 1.0, 1.001, 1.02, 2.5]), max_size=300),
    st.integers(0, 299),
)
def test_spikes_go_on_from_what_was_written_down(values: list[float], cut: int) -> None:
    """Written down anywhere and read back, they say the same of what comes after."""
    one, other = Spikes(LEVEL), Spikes(LEVEL)
    cut = max(1, min(cut, len(values)))
    give(one, values[:cut])
    other.restore(json.loads(json.dumps(one.snapshot())))
    assert give(one, values, cut) == give(other, values, cut)
    assert one.snapshot() == other.snapshot()
