"""A made-up depot on a virtual clock: what happens is scripted, what the engine says is kept.

The world has the plain truth (levels, switches, temperatures); sensors report it at their
intervals with seeded Gaussian noise. Times are seconds after `START`. The engine is ticked as the
service ticks it: at its deadlines, a second behind the clock.
"""

import random
from collections.abc import Callable, Container, Iterable, Mapping
from dataclasses import dataclass, field, replace
from math import pi
from typing import Any

from brineward.engine.engine import Engine
from brineward.plant.plan import DepotPlan, SensorPlan
from brineward.readings.entries import Answer, ClockStepped, Entry, Started, Take, Tick
from brineward.readings.instants import SECOND, Instant
from brineward.readings.outputs import AlarmChanged, AlarmState, Output, TextDue
from brineward.readings.values import Reading, TimedBy
from brineward.wording.segment import segment
from depots import DEPOT, START, brine, plan

AREA_M2 = pi * 2.4**2 / 4
BRIM_M = 2.4
Change = Callable[["World"], object]


@dataclass
class World:
    """The truth about Tern Hollow; `step` lets a second pass."""

    level: float = 1.5
    fill: float = 0.0
    """m3/s into the tank."""
    float_shuts_at: float | None = None
    extra: float = 0.0
    """m3/s of any other flow into the tank."""
    running: float = 0.0
    open: float = 0.0
    delivers: float = 3.6e-3
    """m3/s through an open valve."""
    shelter: float = 7.0
    liquid: float = 5.0
    strength: float = 0.233
    noise: dict[str, float] = field(default_factory=dict)
    says: dict[str, float | None] = field(default_factory=dict)
    """What a sensor says whatever the truth is."""
    silent: set[str] = field(default_factory=set)
    every_second: list[Change] = field(default_factory=list)
    seconds: int = 0

    def step(self) -> None:
        """A second passes."""
        self.seconds += 1
        for change in self.every_second:
            change(self)
        if self.float_shuts_at is not None and self.level >= self.float_shuts_at:
            self.fill = 0.0
        out = self.delivers if self.running and self.open else 0.0
        self.level = min(max(self.level + (self.fill + self.extra - out) / AREA_M2, 0.0), BRIM_M)

    def truth(self, sensor: str) -> float:
        """What a perfect sensor reads."""
        match sensor:
            case "level":
                return self.level
            case "cond":
                return brine(self.strength, self.liquid)
            case "temp":
                return self.liquid
            case "shelter":
                return self.shelter
            case _:
                flow = self.delivers if self.running and self.open else 0.0
                return {"running": self.running, "flow": flow}.get(sensor, self.open)


class Script:
    """A run: changes of the world at given times, and what came of it."""

    def __init__(
        self,
        changes: DepotPlan | None = None,
        *,
        seed: int = 1,
        world: World | None = None,
        clock_off: int = 0,
        bare: Container[str] = (),
    ) -> None:
        self.plan = changes or plan()
        self.engine = Engine({self.plan.id: self.plan})
        self.world = world or World()
        self.now = 0
        self.clock_off = clock_off
        """This machine's clock shows so many milliseconds more than the true time."""
        self.bare = bare
        """Sensors that bring no time of their own."""
        self.outputs: list[Output] = []
        self.heard: list[tuple[int, Output]] = []
        """The same, each with the second in which it was said, by the true time."""
        self.entries: list[Entry] = []
        self._random = random.Random(seed)
        self._actions: list[tuple[float, Change]] = []
        self._last: dict[str, float | None] = {}
        self._sensors = [
            (sensor, round(sensor.every_seconds), place % max(1, round(sensor.every_seconds)))
            for place, sensor in enumerate(self.plan.sensors.values())
        ]
        self.start()

    def polled_at(self, places: Mapping[str, int]) -> None:
        """In which second of their period these sensors report."""
        self._sensors = [
            (sensor, every, places.get(sensor.id, offset))
            for sensor, every, offset in self._sensors
        ]

    def start(self) -> None:
        """The service starts, now."""
        self.step(Started(time=self.time, version="1", config_hash="", zone_data=""))

    def restart(self) -> None:
        """Another process goes on from what this one remembered."""
        kept = self.engine.snapshots()
        self.engine = Engine({self.plan.id: self.plan})
        assert self.engine.restore(kept) == []
        assert self.engine.snapshots() == kept

    def set_clock(self, by: int) -> None:
        """Somebody sets this machine's clock, and the service notices."""
        self.clock_off += by
        self.step(ClockStepped(time=self.time, by=by))

    def at(self, seconds: float, change: Change | None = None, **values: object) -> "Script":
        """Change the world at a time: a function of it, or values to set."""

        def both(world: World) -> None:
            for name, value in values.items():
                setattr(world, name, value)
            if change is not None:
                change(world)

        self._actions.append((seconds, both))
        return self

    def take_at(self, seconds: float, by: str = "yard", number: int | None = None) -> "Script":
        """Somebody takes the newest alarm, or the one of this number."""

        def take(world: World) -> None:
            newest = max((o.number for o in self.changes()), default=0)
            self.step(self.take(number or newest, by))

        return self.at(seconds, take)

    def take(self, number: int, by: str = "yard") -> Take:
        """Somebody takes an alarm, now."""
        return Take(depot=DEPOT, time=self.time, received=self.time, number=number, by=by)

    def answer(self, person: str, **more: Any) -> Answer:
        """Somebody's own text is answered, now."""
        return Answer(depot=DEPOT, time=self.time, received=self.time, person=person, **more)

    def run(self, until: float) -> "Script":
        """Let time pass."""
        while self.now < until:
            self.now += 1
            due = [change for when, change in self._actions if when <= self.now]
            self._actions = [one for one in self._actions if one[0] > self.now]
            self.world.step()
            for change in due:
                change(self.world)
            for sensor, every, offset in self._sensors:
                self._report(sensor, every, offset)
            behind = self.time - SECOND
            if (deadline := self.engine.next_deadline) is not None and deadline <= behind:
                self.step(Tick(time=behind))
        return self

    def step(self, entry: Entry) -> tuple[Output, ...]:
        """Give the engine an entry."""
        self.entries.append(entry)
        found = self.engine.step(entry)
        self.outputs += found
        self.heard += ((self.now, one) for one in found)
        return found

    @property
    def time(self) -> Instant:
        """Now, as this machine's clock shows it."""
        return START + self.now * SECOND + self.clock_off

    def _report(self, sensor: SensorPlan, every: int, offset: int) -> None:
        world = self.world
        if sensor.id in world.silent:
            return
        said = sensor.id in world.says
        value = world.says[sensor.id] if said else world.truth(sensor.id)
        changed = sensor.on_change and self._last.get(sensor.id, value) != value
        if not changed and self.now % every != offset:
            return
        self._last[sensor.id] = value
        noise = world.noise.get(sensor.id, 0.0)
        if noise and value is not None:
            value += self._random.gauss(0.0, noise)
        shown, true = self.time, START + self.now * SECOND
        if sensor.id in self.bare:
            self.step(Reading(DEPOT, sensor.id, shown, value, shown, timed_by=TimedBy.ARRIVAL))
        else:
            self.step(Reading(DEPOT, sensor.id, true, value, shown))

    # -- what came of it

    def changes(self, alarm: str = "", source: str = "") -> list[AlarmChanged]:
        """The changes of state of an alarm, of all without a name."""
        return [
            o
            for o in self.outputs
            if isinstance(o, AlarmChanged) and alarm in ("", o.alarm) and source in ("", o.source)
        ]

    def raised(self, alarm: str = "", source: str = "") -> list[float]:
        """When an alarm became unacknowledged."""
        return [
            seconds_of(o.time)
            for o in self.changes(alarm, source)
            if o.state is AlarmState.UNACKNOWLEDGED
        ]

    def cleared(self, alarm: str, source: str = "") -> list[float]:
        """When an alarm has cleared."""
        ended = (AlarmState.NORMAL, AlarmState.RETURNED_UNACKNOWLEDGED)
        begun = (AlarmState.UNACKNOWLEDGED, AlarmState.ACKNOWLEDGED)
        return [
            seconds_of(o.time)
            for o in self.changes(alarm, source)
            if o.state in ended and o.before in begun
        ]

    def heard_raised(self, alarm: str, source: str = "") -> list[int]:
        """The true seconds in which an alarm was said to be unacknowledged."""
        return [
            when
            for when, o in self.heard
            if isinstance(o, AlarmChanged)
            and o.alarm == alarm
            and source in ("", o.source)
            and o.state is AlarmState.UNACKNOWLEDGED
        ]

    def texts(self, kind: str = "", person: str = "") -> list[TextDue]:
        """The texts that fell due."""
        return [
            o
            for o in self.outputs
            if isinstance(o, TextDue) and kind in ("", o.kind) and person in ("", o.person)
        ]

    def state(self, alarm: str, source: str = "") -> AlarmState:
        """The state that an alarm is in now."""
        found = self.changes(alarm, source)
        return found[-1].state if found else AlarmState.NORMAL


def text_of(due: TextDue) -> str:
    """What a phone shows of it."""
    return segment(due.notice)


def seconds_of(instant: Instant) -> float:
    """Seconds after `START`."""
    return (instant - START) / SECOND


def with_sensors(*names: str, **changes: object) -> DepotPlan:
    """Tern Hollow with only some of its sensors."""
    sensors = plan().sensors
    return plan(sensors={name: sensors[name] for name in names}, **changes)


def with_sensor(whole: DepotPlan, name: str, **changes: object) -> DepotPlan:
    """The plan with one sensor's settings changed."""
    sensors = dict(whole.sensors)
    sensors[name] = replace(sensors[name], **changes)
    return replace(whole, sensors=sensors)


def within(times: Iterable[float], begin: float, end: float) -> bool:
    """Exactly one of the times, and it lies between."""
    found = list(times)
    return len(found) == 1 and begin <= found[0] <= end
