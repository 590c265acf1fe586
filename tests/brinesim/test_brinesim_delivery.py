"""Delivery: what a clock and a line do to readings."""

import numpy as np
import pytest

from brinesim.delivery import Arrivals, Delivery
from brinesim.faults import SensorEffect
from brinesim.instruments import Samples
from brinesim.scenario import DeliveryPlan

TIMES = np.arange(0.0, 7200.0, 10.0)
START = 1_768_435_200_000


def carried(
    plan: DeliveryPlan | None = None, effects: list[SensorEffect] | None = None
) -> Arrivals:
    one = Samples(sensor="a", times=TIMES, values=TIMES)
    two = Samples(sensor="b", times=TIMES + 3, values=-TIMES)
    way = Delivery(plan or DeliveryPlan(), seed=5, start_ms=START, effects=effects or [])
    return way.carry([one, two], {"a": 0, "b": 1})


def effect(how: str, size: float = 1.0) -> SensorEffect:
    return SensorEffect(sensor="", how=how, begins=3000.0, ends=4000.0, size=size)


def test_a_good_line_brings_everything_once_and_in_order() -> None:
    """All readings, each once, in order of arrival, stamped with their own times."""
    got = carried()
    assert got.values.size == 2 * TIMES.size
    assert np.all(np.diff(got.arrived) >= 0)
    assert np.all(got.arrived >= got.stamped)
    assert set(got.stamped[got.sensor == 0]) == {START + int(t * 1000) for t in TIMES}


def test_a_bad_line_repeats_loses_and_delays() -> None:
    """The shares of repeats, losses and late readings are those asked for."""
    plan = DeliveryPlan(duplicate_share=0.1, lost_share=0.1, late_share=0.1, late_by="60 s")
    got = carried(plan)
    keys = list(zip(got.sensor.tolist(), got.stamped.tolist(), strict=True))
    assert len(set(keys)) == pytest.approx(0.9 * 2 * TIMES.size, rel=0.04)
    assert len(keys) - len(set(keys)) == pytest.approx(0.1 * len(set(keys)), rel=0.35)
    late = got.arrived - got.stamped > 2000
    assert 0.05 < late.mean() < 0.15
    assert np.any(np.diff(got.stamped) < 0), "late readings come out of order"
    assert np.all(np.diff(got.arrived) >= 0)


def test_a_buffering_gateway_brings_all_of_it_later() -> None:
    """What was measured in the gap arrives after it with its own times; nothing is lost."""
    got = carried(effects=[effect("buffered")])
    held = (got.stamped >= START + 3_000_000) & (got.stamped < START + 4_000_000)
    assert held.sum() == 200
    assert np.all(got.arrived[held] >= START + 4_000_000)
    assert got.values.size == 2 * TIMES.size


def test_what_is_held_up_arrives_in_turn_however_the_run_is_cut() -> None:
    """Chunk by chunk, readings come in the order of their arrivals, each once: a gap that reaches
    over two chunks is caught up with in one row, and late ones wait for the next chunk.
    """
    plan = DeliveryPlan(late_share=0.1, late_by="90 s")
    way = Delivery(plan, seed=5, start_ms=START, effects=[effect("buffered")])
    chunks = []
    for begin, end in ((0.0, 3500.0), (3500.0, 7200.0)):
        times = TIMES[(begin <= TIMES) & (end > TIMES)]
        until = end if end < 7200.0 else np.inf
        chunks.append(
            way.carry([Samples(sensor="a", times=times, values=times)], {"a": 0}, until=until)
        )
    arrived = np.concatenate([chunk.arrived for chunk in chunks])
    values = np.concatenate([chunk.values for chunk in chunks])
    assert np.all(np.diff(arrived) >= 0)
    assert sorted(values) == TIMES.tolist()
    assert chunks[0].arrived.max() <= START + 3_500_000
    held = values[(values >= 3000.0) & (values < 4000.0)]
    assert np.all(np.diff(held) > 0)
    assert np.unique(arrived).size == arrived.size


def test_a_wrong_clock_moves_the_stamps_and_not_the_arrivals() -> None:
    """While the clock is ahead, stamps are ahead by just that."""
    right, wrong = carried(), carried(effects=[effect("clock", 5400.0)])
    assert np.array_equal(right.arrived, wrong.arrived)
    moved = wrong.stamped - right.stamped
    assert set(moved.tolist()) == {0, 5_400_000}
    assert (moved > 0).sum() == 200
