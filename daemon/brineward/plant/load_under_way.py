"""A load from its start until its volume is settled: runs, points, meter, strength. Mutable."""

from collections.abc import Sequence
from typing import Any

from brineward.plant.level_points import Point
from brineward.plant.metered import Metered
from brineward.plant.seen_strength import SeenStrength
from brineward.readings.instants import Instant

MOST_POINTS = 240
"""Most points of a load; in a longer one every second point is dropped."""
_MOST_RUNS = 32


class LoadUnderWay:
    """What is known of a load until its volume is settled."""

    def __init__(self, began: Instant, source: str, before: Sequence[Point]) -> None:
        self.began = began
        self.source = source
        self.announced = False
        self.runs: list[list[Instant]] = [[began, 0]]
        """Start and stop of each run; 0 while it runs."""
        self.points = list(before)
        self.metered = Metered()
        self.metered.start(began)
        self.strength = SeenStrength()

    @property
    def running(self) -> bool:
        """Does the pump run?"""
        return self.runs[-1][1] == 0

    @property
    def stopped(self) -> Instant:
        """When it stopped last; 0 while it runs."""
        return self.runs[-1][1]

    def restart(self, time: Instant) -> None:
        """It goes on after a short stop; very many of them are taken as one."""
        if len(self.runs) >= _MOST_RUNS:
            self.runs[-1][1] = 0
        else:
            self.runs.append([time, 0])
        self.metered.start(time)

    def add(self, point: Point) -> None:
        """Keep a point; if there are very many, every second one is dropped."""
        self.points.append(point)
        if len(self.points) > MOST_POINTS:
            self.points = self.points[::2]

    def snapshot(self) -> list[Any]:
        """What is remembered, as plain data."""
        return [
            [self.began, self.source, self.announced],
            [list(run) for run in self.runs],
            [list(point) for point in self.points],
            self.metered.snapshot(),
            self.strength.snapshot(),
        ]

    @classmethod
    def restored(cls, data: list[Any]) -> "LoadUnderWay":
        """From what `snapshot` wrote."""
        (began, source, announced), runs, points, metered, strength = data
        load = cls(began, source, [Point(*point) for point in points])
        load.announced = announced
        load.runs = [list(run) for run in runs]
        load.metered.restore(metered)
        load.strength.restore(strength)
        return load


def fallen_m3(load: LoadUnderWay) -> float:
    """How far the tank has fallen in it so far, m3; 0 while no level is known of it."""
    if not load.points:
        return 0.0
    before = [one.volume_m3 for one in load.points if one.time <= load.began]
    start = before[-1] if before else load.points[0].volume_m3
    return start - load.points[-1].volume_m3
