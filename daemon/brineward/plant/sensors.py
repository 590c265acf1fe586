"""What is remembered of each sensor: its last value, its bad ones, and whether it is believed."""

from typing import Any

from brineward.plant.plan import SensorPlan
from brineward.plant.repeats import Repeats
from brineward.plant.spikes import Spikes
from brineward.plant.tracker import Tracker
from brineward.readings.instants import SECOND, Instant
from brineward.readings.values import Reading

LONGEST_SILENCE_SECONDS = 7 * 86_400.0
"""What a sensor itself may ask for as its silence at most."""


class SensorTracker(Tracker):
    """The last value of one sensor and whether it can be believed."""

    version = 2

    def __init__(self, plan: SensorPlan) -> None:
        self.plan = plan
        self._low, self._high = plan.low, plan.high
        self.name = f"sensor/{plan.id}"
        self.value: float | None = None
        self.measured: Instant = 0
        """When the last accepted value was measured; 0 before the first."""
        self.newest: Instant = 0
        """The time of the newest reading in its turn, even of one with a bad value."""
        self.heard: Instant = 0
        """When it last reported anything, even what can't be read."""
        self.late_since: Instant = 0
        """When late readings began to arrive, with none in time since; 0 while they are in time."""
        self.marks = 0
        """The last sixteen readings, a bit each, newest lowest: 1 for bad."""
        self.nonsense = False
        """Three bad in a row, or half of the last sixteen: one spike means nothing."""
        self.bad_why = ""
        self.silent_after = round(plan.silent_after_seconds * SECOND)
        """How old a value may be: as the config says, or as the sensor itself asked."""
        self._asked: Instant | None = None
        self.hastened = False
        """Has its newest reading asked for a shorter silence than was allowed before?"""
        self.repeats: Repeats | None = None
        self.spikes: Spikes | None = None
        # A switch rests by its nature, and what reports on change repeats itself while it rests.
        if not plan.measures.is_switch and not plan.on_change:
            self.repeats, self.spikes = Repeats(plan.measures), Spikes(plan)
        self.bared_by: Cover | None = None
        """Where waves may bare a probe, its wild values are true."""
        self.contradicted = ""
        """How other sensors show that this can't be so; empty while they don't."""
        self.doubt = ""
        """What its plausible values show of it: `stuck`, `contradicted`, `spiking` or nothing."""
        self.doubted = False
        """Is it doubted so that nothing can be judged by it? A spike now and then is outvoted."""
        self.implausible = False
        """Doubted or nonsense. Kept rather than asked for: every reading needs it twice."""

    def take(self, reading: Reading) -> bool:
        """Take a reading in its turn; is its value one to be believed?"""
        _, _, time, value, _, _, _, _, _, asked = reading
        self.hastened = asked is not None and self._asks(asked)
        self.newest = time
        if value is None:
            self.bad("it sends no value", time)
            return False
        if not self._low <= value <= self._high:
            self.bad("outside its range", time)
            return False
        if self.repeats is not None and self.spikes is not None:
            self._habits(self.repeats, self.spikes, value, time)
        self.value = value
        self.measured = self.heard = time
        if self.marks:
            self._mark(0)
        return True

    def _mark(self, bad: int) -> None:
        """Take note of whether the newest reading was bad, 1 or 0."""
        self.marks = ((self.marks << 1) | bad) & 0xFFFF
        self._weigh_marks()
        self.implausible = self.doubted or self.nonsense

    def _weigh_marks(self) -> None:
        self.nonsense = self.marks & 0b111 == 0b111 or self.marks.bit_count() >= 8

    def _asks(self, seconds: float) -> bool:
        """It asks for a silence of so long at most; is that shorter than what was allowed?"""
        allowed = self.silent_after
        if seconds > 0:
            self.silent_after = self._asked = round(min(seconds, LONGEST_SILENCE_SECONDS) * SECOND)
        return self.silent_after < allowed

    def _habits(self, repeats: Repeats, spikes: Spikes, value: float, time: Instant) -> None:
        if repeats.add(time, value):
            self.reconsider()
        last = self.value
        if last is None:
            return
        step = value - last
        if step > spikes.far or -step > spikes.far or spikes.jumps:
            bared = self.bared_by is not None and self.bared_by.covered() is False
            if spikes.add(time, last, self.measured, value, counts=not bared):
                self.reconsider()

    def bad(self, why: str, time: Instant) -> None:
        """Take note of a value that can't be believed; the last good one stays."""
        self.heard = max(self.heard, time)
        self._mark(1)
        self.bad_why = why

    def contradict(self, how: str) -> None:
        """Other sensors show that this one can't be believed, or no longer (empty)."""
        self.contradicted = how
        self.reconsider()

    def reconsider(self) -> None:
        """Judge again whether it is to be doubted."""
        stuck = self.repeats is not None and self.repeats.stuck_at is not None
        self.doubted = stuck or self.contradicted != ""
        self.implausible = self.doubted or self.nonsense
        spiking = "spiking" if self.spikes is not None and self.spikes.spiking else ""
        self.doubt = "stuck" if stuck else "contradicted" if self.contradicted else spiking

    def fresh(self, now: Instant) -> bool:
        """Is there a value that is not too old to judge by?"""
        return self.value is not None and now - self.measured < self.silent_after

    def believed(self, now: Instant) -> float | None:
        """The value, SI; None while nothing can be judged by it: too old, or implausible."""
        if self.implausible or now - self.measured >= self.silent_after:
            return None
        return self.value

    def snapshot(self) -> list[Any]:
        """The track as plain data."""
        return [
            [self.value, self.measured, self.newest, self.heard, self.late_since, self.marks],
            [self.bad_why, self._asked, self.contradicted],
            self.repeats and self.repeats.snapshot(),
            self.spikes and self.spikes.snapshot(),
        ]

    def restore(self, data: list[Any]) -> None:
        """Become what `snapshot` wrote."""
        values, rest, repeats, spikes = data
        self.value, self.measured, self.newest, self.heard, self.late_since, self.marks = values
        self.bad_why, asked, self.contradicted = rest
        if asked is not None:  # what it asked for once holds until it asks for something else
            self.silent_after = self._asked = asked
        if self.repeats is not None and repeats is not None:
            self.repeats.restore(repeats)
        if self.spikes is not None and spikes is not None:
            self.spikes.restore(spikes)
        self._weigh_marks()
        self.reconsider()


class Cover:
    """Whether a probe is under its vessel's surface."""

    COVER_M = 0.05
    """A probe is taken as covered this far under the surface, so that waves don't bare it."""

    def __init__(self, level: SensorTracker, mounted_m: float) -> None:
        self._level = level
        self._needs_m = mounted_m + self.COVER_M

    def covered(self) -> bool | None:
        """Is it? None where the level isn't known."""
        level = self._level
        if level.value is None or level.implausible:
            return None
        return level.value >= self._needs_m
