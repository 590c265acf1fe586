"""Delivery: the clock that stamps readings, and what the way to the broker does to them."""

import math
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
        self._flushed = [0] * len(self._buffered)
        """How many readings of each gap were held so far."""
        self._underway = _NOTHING
        """What arrives only after the chunks that were carried so far."""
        self._clocks = [e for e in effects if e.how == "clock"]

    def carry(
        self, samples: Sequence[Samples], order: Mapping[str, int], *, until: float = math.inf
    ) -> Arrivals:
        """The samples of one chunk as they arrive.

        What is held up beyond `until`, in seconds from the start, comes with a later chunk.
        """
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
        for number, effect in enumerate(self._buffered):
            held = (times >= effect.begins) & (times < effect.ends)
            count = self._flushed[number] + np.cumsum(held)
            flushed = effect.ends + 0.02 * count if np.isfinite(effect.ends) else np.inf
            arrived = np.where(held, flushed, arrived)
            self._flushed[number] += int(held.sum())
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
        return self._in_turn(
            Arrivals(
                arrived=received[pick],
                stamped=stamped[pick],
                sensor=sensor[pick],
                values=values[pick],
            ),
            until,
        )

    def _in_turn(self, new: Arrivals, until: float) -> Arrivals:
        """By arrival, with what earlier chunks left over; what comes after `until` is left over.

        A good line leaves nothing over: it is a fraction of a second long.
        """
        every = _joined(self._underway, new)
        by_arrival = np.argsort(every.arrived, kind="stable")
        if not (self._buffered or self._plan.late_share) or math.isinf(until):
            return _part(every, by_arrival)
        come = every.arrived[by_arrival] <= self._start + until * 1000
        self._underway = _part(every, by_arrival[~come])
        return _part(every, by_arrival[come])


def _joined(one: Arrivals, other: Arrivals) -> Arrivals:
    return Arrivals(
        arrived=np.concatenate([one.arrived, other.arrived]),
        stamped=np.concatenate([one.stamped, other.stamped]),
        sensor=np.concatenate([one.sensor, other.sensor]),
        values=np.concatenate([one.values, other.values]),
    )


def _part(of: Arrivals, rows: NDArray[np.intp]) -> Arrivals:
    return Arrivals(
        arrived=of.arrived[rows],
        stamped=of.stamped[rows],
        sensor=of.sensor[rows],
        values=of.values[rows],
    )


_NOTHING = Arrivals(
    arrived=np.zeros(0, dtype=np.int64),
    stamped=np.zeros(0, dtype=np.int64),
    sensor=np.zeros(0, dtype=np.int32),
    values=np.zeros(0),
)
