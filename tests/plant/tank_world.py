"""A tank whose flows are known exactly: what its sensors say, and what the trackers make of it."""

import random
from collections.abc import Iterator
from dataclasses import dataclass, field, replace
from typing import Any

from brineward.plant.plan import DepotPlan, Measure, Vessel, VesselKind
from brineward.plant.shapes import UprightCylinder
from brineward.plant.trackers import Trackers, restore, snapshots
from brineward.readings.entries import HandTest
from brineward.readings.instants import SECOND
from brineward.readings.outputs import EpisodeChanged
from depots import START, brine, plan, reading, sensor

AREA = UprightCylinder(diameter_m=2.4).area_m2(1.0)
PUMP, FILL = 3.6e-3, 0.9e-3


def metered() -> DepotPlan:
    """The small depot with a meter in its hose."""
    plain = plan()
    flow = sensor("flow", Measure.FLOW, "pump", low=-0.001, high=0.01, standard_uncertainty=3e-5)
    return replace(plain, sensors={**plain.sensors, "flow": flow})


def by_level_alone() -> DepotPlan:
    """The same tank with nothing that tells of its pump."""
    plain = plan()
    kept = {name: plain.sensors[name] for name in ("level", "cond", "temp")}
    return replace(plain, pumps={}, valves={}, sensors=kept)


def with_storage() -> DepotPlan:
    """A second tank beside the main one."""
    plain = plan()
    shape = UprightCylinder(diameter_m=2.4)
    storage = Vessel(id="storage", kind=VesselKind.STORAGE, shape=shape, brim_m=2.4)
    level = sensor("storage-level", Measure.LEVEL, "storage", low=0.0, high=2.6)
    return replace(
        plain,
        vessels={**plain.vessels, "storage": storage},
        sensors={**plain.sensors, "storage-level": level},
    )


@dataclass
class TankWorld:
    """Second by second; every sensor reports each ten seconds, switches also when they change."""

    depot: DepotPlan
    level_m: float = 2.0
    strength: float = 0.233
    mix: float = 0.233
    warmth: float = 9.0
    noise_m: float = 0.0012
    probe_reads: float = 1.0
    """What the probe reads of the true conductivity."""
    fill: bool = False
    pump: bool = False
    valve: bool = True
    leaks_before_meter: float = 0.0
    """Share of what the pump takes that never reaches the meter."""
    gives_back: bool = False
    to_storage: bool = False
    drains: float = 0.0
    """m3/s out of the tank by another way."""
    tipped_in: float = 0.0
    """m3/s over the hopper's weir, driven there by salt that is tipped in."""
    level_fails: str = ""
    """`silent` or `stuck` from the start of the second hour on."""
    restarts: float = 0.0
    """Chance of a restart before a reading."""
    seed: int = 1
    second: int = 0
    loaded_m3: float = 0.0
    filled_m3: float = 0.0
    storage_m: float = 0.5
    episodes: list[EpisodeChanged] = field(default_factory=list)

    def __post_init__(self) -> None:
        """Begin with everything at rest."""
        self._draw = random.Random(self.seed)
        self.trackers = Trackers(self.depot)
        self._said: dict[str, float] = {}

    def play(self, seconds: int, **changes: Any) -> "TankWorld":
        """Change what is named, and go on for so many seconds."""
        for name, value in changes.items():
            setattr(self, name, value)
        for _ in range(seconds):
            self._say_switches()
            self._flow()
            self.second += 1
            if self.second % 10 == 0:
                for name, value in self._readings():
                    self._say(name, value)
        return self

    def _flow(self) -> None:
        delivers = self.pump and self.valve
        out = PUMP if delivers else 0.0
        volume = self.level_m * AREA
        if self.fill:
            self.strength += (self.mix - self.strength) * FILL / volume
            self.filled_m3 += FILL
        if delivers:
            self.loaded_m3 += PUMP * (1 - self.leaks_before_meter)
        if self.to_storage:
            self.storage_m += out / AREA
        net = (FILL if self.fill else 0.0) - (0.0 if self.gives_back else out) - self.drains
        net += self.tipped_in
        self.level_m += net / AREA

    def _say_switches(self) -> None:
        for name, value in (("running", self.pump), ("valve", self.valve)):
            if self._said.get(name) != value:
                self._say(name, float(value))

    def _readings(self) -> Iterator[tuple[str, float]]:
        fails = self.level_fails if self.second > 3600 else ""
        level = self.level_m + self._draw.gauss(0.0, self.noise_m)
        if fails != "silent":
            yield "level", 1.5 if fails else level
        read = brine(self.strength, self.warmth) * self.probe_reads
        yield "cond", read * (1 + self._draw.gauss(0.0, 1e-4))
        yield "temp", self.warmth
        yield "shelter", 10.0
        delivers = self.pump and self.valve
        yield "flow", PUMP * (1 - self.leaks_before_meter) if delivers else 0.0
        yield "storage-level", self.storage_m + self._draw.gauss(0.0, self.noise_m)
        yield "running", float(self.pump)
        yield "valve", float(self.valve)

    def _say(self, name: str, value: float) -> None:
        self._said[name] = value
        if name not in self.depot.sensors:
            return
        if self._draw.random() < self.restarts:
            kept = snapshots(self.trackers)
            self.trackers = Trackers(self.depot)
            assert restore(self.trackers, kept) == []
        said = reading(name, self.second, value)
        outputs = self.trackers.take(self.trackers.sensors[name], said)
        self.episodes += [one for one in outputs if isinstance(one, EpisodeChanged)]

    def test(self) -> None:
        """Somebody tests the brine by hand, well."""
        now = START + self.second * SECOND
        self.trackers.probes["main"].learn(
            HandTest(
                depot=self.depot.id,
                time=now,
                received=now,
                vessel="main",
                at=now,
                mass_fraction=self.strength,
                standard_uncertainty=0.0005,
            )
        )

    def seconds_of(self, instant: int) -> float:
        """An instant as seconds since the world began."""
        return (instant - START) / SECOND

    def known(self, episode: str) -> list[EpisodeChanged]:
        """Each episode of a kind as it is known last, in order."""
        latest: dict[tuple[str, int], EpisodeChanged] = {}
        for one in self.episodes:
            if one.episode == episode:
                latest[one.source, one.began] = one
        return list(latest.values())
