"""A made tank for `brineward.fitting.films`: loaded and filled, with a probe that films grow on.

Minute by minute, and nothing of it comes from the service's own trackers but the curve that turns
strength into conductivity. The brine at the probe follows the whole tank's with a lag, and at some
depots sees the jet of a fill; fills bring brine as warm as they please; the thermometer lags, has
an error of its own, and is not quite as warm as the brine at the probe.
"""

import math
from collections.abc import Iterator, Sequence
from dataclasses import dataclass, field
from typing import NamedTuple

import numpy as np

from brineward.physics.conductivity import conductivity
from brineward.plant.plan import DepotPlan, Duty, Fill, Measure, SensorPlan, Vessel, VesselKind
from brineward.plant.shapes import UprightCylinder

DEPOT, TANK = "tern-hollow", "main"
SHAPE = UprightCylinder(diameter_m=2.4)
MARK_M = 2.2
PUMP_M3_PER_S, FILL_M3_PER_S = 3.6e-3, 0.9e-3
TARGET, LOW, HIGH = 0.233, 0.22, 0.25
MINUTE_SECONDS = 60.0
_AREA_M2 = SHAPE.area_m2(1.0)
_LASTING_MIX, _OWN_MIX = 0.006, 0.007
"""Mass fraction: a depot's mix about its target, and from fill to fill; as `seasons` has it."""
_JET_FADES_MINUTES = 5.0


def plan() -> DepotPlan:
    """The tank with a level, a probe and a thermometer, a reading of each a minute."""
    kinds = {
        "level": (Measure.LEVEL, 0.0, 2.6, 0.003),
        "cond": (Measure.CONDUCTIVITY, 0.0, 40.0, 0.1),
        "temp": (Measure.TEMPERATURE, -40.0, 60.0, 0.2),
    }
    sensors = {
        name: SensorPlan(
            id=name,
            measures=measure,
            at=TANK,
            low=low,
            high=high,
            standard_uncertainty=uncertainty,
            every_seconds=MINUTE_SECONDS,
            silent_after_seconds=210.0,
            mounted_m=0.3 if name == "cond" else 0.0,
        )
        for name, (measure, low, high, uncertainty) in kinds.items()
    }
    tank = Vessel(id=TANK, kind=VesselKind.MAIN, shape=SHAPE, brim_m=2.4, fill_mark_m=MARK_M)
    return DepotPlan(
        id=DEPOT,
        name="Tern Hollow",
        short="TH",
        vessels={TANK: tank},
        fills=(Fill(into=TANK, flow_m3_per_s=FILL_M3_PER_S),),
        sensors=sensors,
        duty=Duty(on_call=("yard",), names={"yard": "Yard lead"}),
    )


class Load(NamedTuple):
    """A load, and the fill that makes it good."""

    at: float
    """Minutes at which it begins."""
    share: float
    """Of the full tank, that is drawn."""
    fill_after: float
    """Minutes after which the float lets the fill in."""
    mix: float
    """What the fill brings, as a mass fraction."""

    @property
    def over(self) -> float:
        """Minutes at which its fill has ended, about."""
        return self.at + self.fill_after + self.share * _full_m3() / FILL_M3_PER_S / MINUTE_SECONDS


def _full_m3() -> float:
    return MARK_M * _AREA_M2


def drawn_loads(
    random: np.random.Generator,
    minutes: float,
    *,
    every_days: tuple[float, float],
    share: tuple[float, float],
) -> list[Load]:
    """Loads by chance over so many minutes, with healthy fills."""
    lasting = TARGET + _LASTING_MIX * random.standard_normal()
    found, at = list[Load](), 1440.0 * random.uniform(0.4, 0.4 + every_days[0])
    while at < minutes:
        mix = lasting + _OWN_MIX * random.standard_normal()
        found.append(Load(at, random.uniform(*share), random.uniform(1.0, 20.0), mix))
        at += 1440.0 * random.uniform(*every_days)
    return found


class Minute(NamedTuple):
    """What the sensors read, and what is true."""

    level_m: float
    temperature_c: float
    conductivity_s_per_m: float
    whole: float
    """The tank's strength, as a mass fraction,"""
    at_probe: float
    """and that of the brine at the probe."""
    mix: float
    """What comes in, or came in last."""
    still_minutes: float
    """For so long nothing has come in or gone out."""


@dataclass
class MadeTank:
    """One tank and its probe by chance."""

    random: np.random.Generator
    loads: Sequence[Load]
    strength: float
    lost_at: float = math.inf
    """Minutes at which a film comes at once, or begins to grow,"""
    lost: float = 0.0
    """which takes so much of the reading at once,"""
    lost_a_month: float = 0.0
    """and so much a month."""
    _level: float = field(default=MARK_M, init=False)
    _still: float = field(default=0.0, init=False)

    def __post_init__(self) -> None:
        """What differs from depot to depot."""
        draw = self.random
        self._gain = math.exp(0.007 * draw.standard_normal())
        self._bias = 0.15 * draw.standard_normal()
        self._mean_c, self._swing_c = draw.uniform(-4.0, 20.0), draw.uniform(0.2, 1.5)
        self._feed_c = self._mean_c + draw.uniform(-5.0, 5.0)
        self._lag, self._weak_lag = draw.uniform(1.0, 6.0), draw.uniform(1.0, 3.0)
        self._jet = draw.uniform(0.05, 0.3) if draw.random() < 0.3 else 0.0
        self._thermometer_lag = draw.uniform(1.0, 2.5)
        self._apart = 0.0

    def minutes(self, count: int) -> Iterator[Minute]:
        """So many minutes of it."""
        chances = iter(self.random.standard_normal(4 * count).tolist())
        whole, probe, jet = self.strength, self.strength, 0.0
        warmer, shown = 0.0, self._outside(0)
        loads, drawing, filling, mix = list(self.loads), 0.0, -1.0, TARGET
        for minute in range(count):
            if loads and minute >= loads[0].at:
                load = loads.pop(0)
                drawing, filling, mix = load.share * _full_m3(), load.fill_after, load.mix
            out = min(drawing, PUMP_M3_PER_S * MINUTE_SECONDS)
            drawing -= out
            came = 0.0
            if filling >= 0.0:
                filling -= 1.0
                if filling < 0.0:
                    filling = -1.0 if self._level >= MARK_M and drawing <= 0.0 else 0.0
                    came = 0.0 if filling < 0.0 else FILL_M3_PER_S * MINUTE_SECONDS
            volume = self._level * _AREA_M2
            self._level += (came - out) / _AREA_M2
            self._still = 0.0 if came or out else self._still + 1.0
            kept = math.exp(-came / volume)
            whole = mix + (whole - mix) * kept
            warmer = self._feed_c - self._mean_c + (warmer - self._feed_c + self._mean_c) * kept
            warmer *= math.exp(-1.0 / 1440.0)
            lag = self._lag * (self._weak_lag if whole < probe else 1.0)
            lag *= 1.0 if came or out else 8.0
            probe = whole + (probe - whole) * math.exp(-1.0 / lag)
            jet = self._jet * (mix - whole) if came else jet * math.exp(-1.0 / _JET_FADES_MINUTES)
            celsius = self._outside(minute) + warmer
            shown = celsius + (shown - celsius) * math.exp(-1.0 / self._thermometer_lag)
            near = math.exp(-1.0 / 240.0)
            self._apart = near * self._apart + 0.05 * math.sqrt(1 - near * near) * next(chances)
            at_probe = probe + jet
            reads = conductivity(at_probe, celsius + self._apart) * self._gain
            yield Minute(
                self._level + 0.0015 * next(chances),
                shown + self._bias + 0.02 * next(chances),
                reads * (1.0 - self._taken(minute)) * (1.0 + 0.0008 * next(chances)),
                whole,
                at_probe,
                mix,
                self._still,
            )

    def _outside(self, minute: int) -> float:
        return self._mean_c + self._swing_c * math.sin(2.0 * math.pi * minute / 1440.0)

    def _taken(self, minute: float) -> float:
        if minute < self.lost_at:
            return 0.0
        return min(self.lost + self.lost_a_month * (minute - self.lost_at) / 43_200.0, 0.3)
