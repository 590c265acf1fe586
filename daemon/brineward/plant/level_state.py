"""One vessel's level: its course, whether it moves, and what it did since it last stood still."""

from typing import Any

from brineward.plant.plan import SensorPlan, Vessel
from brineward.plant.tracks import Course, Movement
from brineward.readings.instants import MINUTE, Instant
from brineward.readings.outputs import EpisodeChanged, Output

SETTLE = 3 * MINUTE
"""How long after the level stopped moving a batch is taken as blended (common practice, no
source: a jet of brine into a standing tank stirs it for a few minutes)."""


class LevelState:
    """One vessel's level: its course and whether it moves."""

    __slots__ = ("course", "falls", "fill_began", "fill_m_per_s", "movement", "sensor", "vessel")

    def __init__(self, vessel: Vessel, sensor: SensorPlan, fill_m3_per_s: float | None) -> None:
        self.vessel = vessel
        self.sensor = sensor
        self.course = Course(
            window_seconds=max(180.0, 6 * sensor.every_seconds),
            standard_uncertainty=sensor.standard_uncertainty,
        )
        self.fill_m_per_s: float | None = None
        """How fast the declared fill raises it at half height; None where none is declared."""
        slowest = 5e-5
        if fill_m3_per_s is not None:
            self.fill_m_per_s = fill_m3_per_s / vessel.shape.area_m2(vessel.brim_m / 2)
            slowest = 0.35 * self.fill_m_per_s
        self.movement = Movement(slowest)
        self.fill_began: tuple[Instant, float] | None = None
        """When the level began to rise, and from where."""
        self.falls = 0
        """How often it began to fall since it last stood still for `SETTLE`: loads, that is."""

    def take(self, time: Instant, value: float, depot: str) -> list[Output]:
        """Take one level in m; the fills that begin or end with it."""
        self.course.add(time, value)
        was, since = self.movement.direction, self.movement.since
        if not self.movement.update(self.course, time):
            return []
        if was == 0 and time - since >= SETTLE:
            self.falls = 0
        if self.movement.direction < 0:
            self.falls += 1
        return self._moved(was, time, depot)

    def settled(self, now: Instant) -> bool:
        """Has it stood still long enough to be blended?"""
        return self.movement.direction == 0 and now - self.movement.since >= SETTLE

    def _moved(self, was: int, time: Instant, depot: str) -> list[Output]:
        level = self.course.level or 0.0
        outputs: list[Output] = []
        if was > 0 and self.fill_began is not None:
            began, start = self.fill_began
            shape = self.vessel.shape
            outputs.append(
                EpisodeChanged(
                    time=time,
                    depot=depot,
                    episode="fill",
                    source=self.vessel.id,
                    began=began,
                    ended=time,
                    amount_m3=round(shape.volume_m3(level) - shape.volume_m3(start), 6),
                )
            )
            self.fill_began = None
        if self.movement.direction > 0:
            self.fill_began = (time, level)
            outputs.append(
                EpisodeChanged(
                    time=time,
                    depot=depot,
                    episode="fill",
                    source=self.vessel.id,
                    began=time,
                    ended=None,
                )
            )
        return outputs

    def freeze(self) -> list[Any]:
        """What is remembered, as plain data."""
        return [self.course.freeze(), self.movement.freeze(), self.fill_began, self.falls]

    def thaw(self, data: list[Any]) -> None:
        """Become what `freeze` wrote."""
        course, movement, began, self.falls = data
        self.course.thaw(course)
        self.movement.thaw(movement)
        self.fill_began = None if began is None else (began[0], began[1])
