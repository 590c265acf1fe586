"""Sensors: from what is true to what they say, a chunk of samples at a time."""

import math
from collections.abc import Mapping, Sequence
from dataclasses import dataclass
from zlib import crc32

import numpy as np
from numpy.typing import NDArray
from scipy.signal import lfilter

from brinesim.equations import CONDUCTIVITY
from brinesim.faults import SensorEffect
from brinesim.scenario import SensorPlan

Floats = NDArray[np.float64]
Columns = Mapping[str, Floats]


def generator(seed: int, label: str) -> np.random.Generator:
    """Random numbers that depend on the seed and on what they are for, on nothing else."""
    return np.random.Generator(
        np.random.PCG64(np.random.SeedSequence([seed, crc32(label.encode())]))
    )


WORN = 0.01
"""A sensor that fouls is worn once it is off by this share of its reading, from its start on: a
probe's strength is then wrong by 0.7 % by mass."""


@dataclass(frozen=True, slots=True, kw_only=True)
class Samples:
    """One sensor's samples in a chunk: seconds from the start, and values in its own unit."""

    sensor: str
    times: Floats
    values: Floats


class Instrument:
    """One sensor, with its own errors and its memory from chunk to chunk."""

    def __init__(
        self,
        name: str,
        plan: SensorPlan,
        *,
        seed: int,
        rough: float,
        effects: Sequence[SensorEffect],
    ) -> None:
        """Draws the sensor's own lasting errors from the seed."""
        self.name = name
        self.plan = plan
        self.rough = rough
        self._effects = [e for e in effects if e.sensor in (name, "")]
        self._draw = generator(seed, name)
        self._phase = float(self._draw.random()) * min(plan.every, 10.0)
        self._bias = float(self._draw.standard_normal()) * plan.bias_sd * rough
        self._gain = 1 + float(self._draw.standard_normal()) * plan.gain_sd * rough
        self._drift = float(self._draw.standard_normal()) * plan.drift_per_day * rough
        self._fouling = abs(float(self._draw.standard_normal())) * plan.fouling_per_day * rough
        self._next = 0
        self._lagged: float | None = None
        self._slosh = 0.0
        self._switch: float | None = None
        self._held: dict[float, float] = {}
        """What it was stuck at, by the onset of each such fault."""
        self.worn_from: float | None = None
        """When it had become worn, in seconds from the start; None where it has not."""

    def sample(self, rows: Columns, end: float) -> Samples:
        """Its samples up to `end`, from the plant's rows since the last chunk."""
        plan = self.plan
        last = math.ceil((end - self._phase) / plan.every)
        nominal = self._phase + plan.every * np.arange(self._next, max(last, self._next))
        self._next = max(last, self._next)
        times = nominal + plan.jitter * self.rough * self._draw.random(nominal.size)
        if plan.on_change:
            return self._sample_switch(rows, times)
        truth = rows[plan.column] * plan.scale
        values = np.interp(times, rows["time"], truth)
        values = self._swapped(values, times, rows)
        values = self._compensated(values, times, rows)
        values = self._lag(values)
        values = self._in_the_tank(values, times, rows)
        values = self._worn(values * self._gain, times)
        noise = plan.noise + plan.gain_noise * np.abs(values)
        values = values + self.rough * noise * self._draw.standard_normal(times.size)
        values = self._faulty(values, times)
        return self._finished(times, values)

    def _worn(self, values: Floats, times: Floats) -> Floats:
        """What fouling, drift and a lasting error make of its readings."""
        days = times / 86400
        worn = values * (1 - self._fouling * days) + self._drift * days
        if self.worn_from is None and self._fouling and values.size:
            # A probe that is dry says nothing of its film.
            wet = values > 0.0
            off = np.abs(worn - values) > WORN * values
            self.worn_from = float(times[0]) if wet.any() and bool(off[wet].all()) else None
        return worn + self._bias

    def _sample_switch(self, rows: Columns, times: Floats) -> Samples:
        state = rows[self.plan.column]
        before = state[0] if self._switch is None else self._switch
        changed = np.flatnonzero(np.diff(state, prepend=before) != 0)
        times = np.sort(np.concatenate([times, rows["time"][changed] + 0.05]))
        place = np.clip(np.searchsorted(rows["time"], times, side="right") - 1, 0, None)
        self._switch = float(state[-1])
        return self._finished(times, self._faulty(state[place], times))

    def _swapped(self, values: Floats, times: Floats, rows: Columns) -> Floats:
        for effect in self._effects:
            if effect.how in ("swapped", "swapped-back"):
                place = "shelter" if effect.how == "swapped" else "main"
                other = np.interp(times, rows["time"], rows[f"{place}_temperature"])
                values = np.where((times >= effect.begins) & (times < effect.ends), other, values)
        return values

    def _compensated(self, values: Floats, times: Floats, rows: Columns) -> Floats:
        """A transmitter that turns its probe's readings to 25 degC, by a share a kelvin."""
        for effect in self._effects:
            if effect.how == "compensated":
                over = np.interp(times, rows["time"], rows["main_temperature"]) - 25.0
                during = (times >= effect.begins) & (times < effect.ends)
                values = np.where(during, values / (1 + effect.size * over), values)
        return values

    def _lag(self, values: Floats) -> Floats:
        if not self.plan.lag or not values.size:
            return values
        keep = math.exp(-self.plan.every / (self.plan.lag * max(self.rough, 1e-9)))
        first = values[0] if self._lagged is None else self._lagged
        result, _ = lfilter([1 - keep], [1.0, -keep], values, zi=[keep * first])
        self._lagged = float(result[-1])
        return np.asarray(result)

    def _in_the_tank(self, values: Floats, times: Floats, rows: Columns) -> Floats:
        """Slosh and foam on a level, bubbles on a probe, and a probe left in the air."""
        plan = self.plan
        filling = np.interp(times, rows["time"], rows["fill_flow"]) > 1e-5
        if plan.slosh or plan.foam:
            stirred = filling | (np.interp(times, rows["time"], rows["hose_flow"]) > 1e-4)
            shake = self._draw.standard_normal(times.size) * plan.slosh * self.rough
            values = values + np.where(stirred, shake, 0.0)
            foam = plan.foam * self.rough * self._draw.random(times.size)
            values = values + np.where(filling, foam, 0.0)
        if plan.bubbles_per_hour:
            chance = plan.bubbles_per_hour * plan.every / 3600 * self.rough
            hit = (self._draw.random(times.size) < chance) & filling
            depth = plan.bubble_depth * self._draw.random(times.size)
            values = values * np.where(hit, 1 - depth, 1.0)
        if plan.mounted:
            dry = np.interp(times, rows["time"], rows["main_level"]) < plan.mounted
            air = np.interp(times, rows["time"], rows["shelter_temperature"])
            values = np.where(dry, 0.0 if plan.column == CONDUCTIVITY else air, values)
        return values

    def _faulty(self, values: Floats, times: Floats) -> Floats:
        for effect in self._effects:
            during = (times >= effect.begins) & (times < effect.ends)
            if not during.any():
                continue
            days = (times - effect.begins) / 86400
            if effect.how == "dry":
                values = np.where(during, 0.0, values)
            elif effect.how == "fouled":
                values = np.where(during, values * np.exp(-effect.size * days), values)
            elif effect.how == "drift":
                values = np.where(during, values + effect.size * days, values)
            elif effect.how == "stuck":
                held = self._held.setdefault(effect.begins, float(values[int(np.argmax(during))]))
                values = np.where(during, held, values)
            elif effect.how == "spike":
                hit = during & (self._draw.random(times.size) < effect.size)
                wild = self.plan.low + (self.plan.high - self.plan.low) * self._draw.random(
                    times.size
                )
                values = np.where(hit, wild, values)
        return values

    def _finished(self, times: Floats, values: Floats) -> Samples:
        plan = self.plan
        if plan.bits:
            step = (plan.high - plan.low) / (2**plan.bits - 1)
            values = plan.low + np.round((values - plan.low) / step) * step
        values = np.clip(values, plan.low, plan.high)
        silent = np.zeros(times.size, dtype=bool)
        for effect in self._effects:
            if effect.how == "silent":
                silent |= (times >= effect.begins) & (times < effect.ends)
        if silent.any():
            times, values = times[~silent], values[~silent]
        return Samples(sensor=self.name, times=times, values=values)
