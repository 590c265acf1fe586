"""Delivery: the clock that stamps readings, and what the way to the broker does to them."""

from collections.abc import Mapping, Sequence
from dataclasses import dataclass

import numpy as np
from numpy.typing import NDArray

from brinesim.faults import SensorEffect
from brinesim.instruments import Samples, generator
from brinesim.scenario import DeliveryPlan


@dataclass(frozen=True, slots=True, kw_only=True)
class Arrivals:
    """Readings in the order in which the broker gets them; times in ms since 1970 UTC."""

    arrived: NDArray[np.int64]
    stamped: NDArray[np.int64]
    sensor: NDArray[np.int32]
    values: NDArray[np.float64]


class Delivery:
    """The gateway and its line."""

    def __init__(
        self, plan: DeliveryPlan, *, seed: int, start_ms: int, effects: Sequence[SensorEffect]
    ) -> None:
        """Effects other than `buffered` and `clock` are the sensors' own and are passed over."""
        self._plan = plan
        self._draw = generator(seed, "delivery")
        self._start = start_ms
        self._buffered = [e for e in effects if e.how == "buffered"]
        self._clocks = [e for e in effects if e.how == "clock"]

    def carry(self, samples: Sequence[Samples], order: Mapping[str, int]) -> Arrivals:
        """The samples of one chunk as they arrive."""
        plan, draw = self._plan, self._draw
        times = np.concatenate([s.times for s in samples])
        values = np.concatenate([s.values for s in samples])
        sensor = np.concatenate(
            [np.full(s.times.size, order[s.sensor], dtype=np.int32) for s in samples]
        )
        by_time = np.argsort(times, kind="stable")
        times, values, sensor = times[by_time], values[by_time], sensor[by_time]
        delay = plan.latency + plan.latency_sd * np.abs(draw.standard_normal(times.size))
        if plan.late_share:
            delay += np.where(
                draw.random(times.size) < plan.late_share,
                plan.late_by * draw.random(times.size),
                0.0,
            )
        clock = np.full(times.size, plan.clock_offset)
        for effect in self._clocks:
            clock += np.where((times >= effect.begins) & (times < effect.ends), effect.size, 0.0)
        arrived = times + delay
        for effect in self._buffered:
            held = (times >= effect.begins) & (times < effect.ends)
            flushed = effect.ends + 0.02 * np.cumsum(held) if np.isfinite(effect.ends) else np.inf
            arrived = np.where(held, flushed, arrived)
        keep = np.isfinite(arrived)
        if plan.lost_share:
            keep &= draw.random(times.size) >= plan.lost_share
        repeat = np.ones(times.size, dtype=np.int64)
        if plan.duplicate_share:
            repeat += draw.random(times.size) < plan.duplicate_share
        repeat = np.where(keep, repeat, 0)
        pick = np.repeat(np.arange(times.size), repeat)
        pick = pick[np.argsort(arrived[pick], kind="stable")]
        stamped = np.rint((times + clock) * 1000).astype(np.int64) + self._start
        received = np.rint(np.where(keep, arrived, 0.0) * 1000).astype(np.int64) + self._start
        return Arrivals(
            arrived=received[pick], stamped=stamped[pick], sensor=sensor[pick], values=values[pick]
        )
