"""Does a brine's conductivity follow its thermometer? One that isn't in the brine shows by that.

Mutable, but pure. Brine conducts about 2 % more a kelvin, and a still tank changes by
hundredths of a kelvin in minutes. So a thermometer that swings or jumps while the conductivity
beside it stays is somewhere else, or broken.
"""

import math
from collections import deque
from collections.abc import Sequence
from itertools import pairwise
from typing import Any, NamedTuple

from brineward.physics.conductivity import conductivity
from brineward.plant.course import median
from brineward.plant.plan import DepotPlan, Measure
from brineward.plant.probes import Probe
from brineward.plant.sensors import SensorTracker
from brineward.plant.tracker import Tracker
from brineward.readings.instants import MINUTE, SECOND, Instant
from brineward.readings.outputs import Output

NOT_IN_BRINE = "may be out of the brine: the probe doesn't follow it"
MEDIAN_OF = 5 * MINUTE
"""Readings are combined as medians over this time: a wild one has no effect."""
JUMP_K = 1.0
"""A standing tank's brine doesn't change by this much in two minutes: 10 m3 would take 300 kW."""
SWING_K = 0.1
"""A thermometer swings from this standard deviation of its changes in ten minutes on."""
CALM_K = 0.05
SHARE_FOLLOWED = 1 / 3
"""Less than this share of what brine does, three standard errors included, is not following."""
FEWEST = 12
"""How many ten-minute changes must be known: an hour and a quarter of a standing tank."""

_KEPT = 36
_READING_GAP = 9 * SECOND
_LATEST, _LATELY = 15, 5
"""A jump is looked for between the first and the last five of the last fifteen readings."""
_APART = 2.0
_STANDS_FOR = 10 * MINUTE  # before a jump is looked for
_WHOLE = 0.75  # of a stretch's readings: a moving level leaves out more between two stretches
_BLENDS = 3  # stretches after a gap that are not looked at yet: the tank may still be layered
_STANDARD_ERRORS = 3.0
_OVER_NOISE = 3.0
_CALM_STRETCHES, _CALM_AFTER_JUMP = 12, 288
_SETTLES = 3  # stretches after a jump, in which a slow thermometer comes to rest
_MEDIAN_LOSS = 1.57  # variance of a median over that of a mean, of normal readings: pi / 2


class Row(NamedTuple):
    """What was said at one moment."""

    time: Instant
    read_s_per_m: float
    temperature_c: float
    shelter_c: float | None


class Stretch(NamedTuple):
    """Five minutes of a standing tank."""

    number: int
    log_conductivity: float
    temperature_c: float
    noise: float
    """Variance of the temperature's median, by what its readings scatter."""
    shelter_c: float | None


class Following(Tracker):
    """A probe's conductivity beside its thermometer, while the tank is still and covers both."""

    def __init__(
        self, probe: Probe, shelter: SensorTracker | None, target: float, called: str
    ) -> None:
        self.name = f"following/{probe.vessel}"
        self.takes = {probe.sensor.plan.id: self._take}
        self._probe = probe
        self.thermometer = probe.thermometer
        self._called = called
        """What people call it."""
        self.shelter = shelter
        """The shelter's thermometer, which it may be exchanged with."""
        self._target = target
        self._called = called
        """What people call the thermometer beside the probe."""
        self._every = max(probe.sensor.plan.every_seconds, 10.0)
        self._stretch = max(MEDIAN_OF, round(5 * self._every * SECOND))
        self._number = 0
        self._this: list[Row] = []
        """What was read in the stretch under way."""
        self._latest: deque[Row] = deque(maxlen=_LATEST)
        self._stretches: deque[Stretch] = deque(maxlen=_KEPT)
        self._standing_since: Instant = 0
        self._calm = 0
        self._was_c: float | None = None
        """Where it was before it jumped away; None where it has not jumped."""
        self._jumped = 0
        """The stretch in which it did."""
        self.not_following = False
        self.exchanged = False
        """Is the shelter's thermometer where it was, and it where that one was?"""

    def _take(self, time: Instant, read_s_per_m: float) -> Sequence[Output]:
        """A thermometer that the brine's conductivity doesn't follow is not in the brine."""
        probe, thermometer = self._probe, self.thermometer
        if thermometer.value is None or not thermometer.fresh(time) or probe.sensor.implausible:
            return ()
        if probe.in_standing_brine(time):
            shelter = self.shelter
            shelter_c = shelter.value if shelter is not None and shelter.fresh(time) else None
            if self.note(time, read_s_per_m, thermometer.value, shelter_c):
                self._found()
        return ()

    def _found(self) -> None:
        """Write down at the thermometers where they are not."""
        thermometer = self.thermometer
        thermometer.contradict(NOT_IN_BRINE if self.not_following else "")
        if self.shelter is not None:
            other = f"looks swapped with {self._called}"
            self.shelter.contradict(other if self.exchanged else "")

    def note(
        self, time: Instant, read_s_per_m: float, read_c: float, shelter_c: float | None
    ) -> bool:
        """Take readings of covered, standing brine; times must rise. Has the finding changed?"""
        latest = self._latest
        if read_s_per_m <= 0.0 or (latest and time - latest[-1].time < _READING_GAP):
            return False
        was = self.not_following, self.exchanged
        number = time // self._stretch
        if number != self._number:
            self._close()
            self._number, self._this = number, []
        row = Row(time, read_s_per_m, read_c, shelter_c)
        if not latest or time - latest[-1].time > 4 * self._every * SECOND:
            # The tank moved, or a sensor was silent.
            latest.clear()
            self._standing_since = time
        self._this.append(row)
        latest.append(row)
        moved = abs(read_c - latest[0].temperature_c) >= JUMP_K / 2
        if moved and len(latest) == _LATEST and time - self._standing_since >= _STANDS_FOR:
            self._look_for_a_jump(list(latest))
        return was != (self.not_following, self.exchanged)

    def _look_for_a_jump(self, latest: list[Row]) -> None:
        """Has it just jumped, and conductivity has not?"""
        before, after = latest[:_LATELY], latest[-_LATELY:]
        was_c, is_c = (median([row.temperature_c for row in rows]) for rows in (before, after))
        by = is_c - was_c
        # Readings that agree no better than that are noise, or wild.
        steps = [abs(b.temperature_c - a.temperature_c) for a, b in pairwise(latest)]
        apart = max(_range(before), _range(after), 2 * median(steps))
        if abs(by) < max(JUMP_K, _APART * apart):
            return
        read_before, read_after = (
            median([row.read_s_per_m for row in rows]) for rows in (before, after)
        )
        followed = round(math.log(read_after / read_before) / by, 6)
        if followed >= SHARE_FOLLOWED * self._percent(is_c):
            return
        self._calm = 0
        if not self.not_following:
            self.not_following = True
            self._was_c, self._jumped = was_c, self._number
        elif self._was_c is not None and abs(is_c - self._was_c) < abs(was_c - self._was_c) / 2:
            # It is back: what it said while it was away says nothing about where it is now.
            # Nor is the rest of its way back, however slow it is, a jump away.
            self._believe()
            self._stretches.clear()
            self._latest.clear()

    def _believe(self) -> None:
        self.not_following = self.exchanged = False
        self._was_c = None
        self._calm = 0

    def _close(self) -> None:
        """A stretch has ended: take it in, if it is whole, and judge."""
        rows = self._this
        if len(rows) < _WHOLE * self._stretch / SECOND / self._every:
            return
        temperatures = [row.temperature_c for row in rows]
        steps = sum((b - a) ** 2 for a, b in pairwise(temperatures))
        inside = [row.shelter_c for row in rows if row.shelter_c is not None]
        count = len(rows)
        done = Stretch(
            self._number,
            round(math.log(median([row.read_s_per_m for row in rows])), 9),
            median(temperatures),
            _MEDIAN_LOSS * steps / 2 / (count - 1) / count,
            median(inside) if inside else None,
        )
        stretches = self._stretches
        self._stretches.append(done)
        settling = self._was_c is not None and done.number <= self._jumped + _SETTLES
        if settling and done.number > self._jumped and not self.exchanged:
            before = [one for one in stretches if one.number < self._jumped]
            self.exchanged = bool(before) and _exchanged(before[-1], done)
        self._judge()

    def _judge(self) -> None:
        changes = self._changes()
        if self._swings(changes):
            self.not_following, self._calm = True, 0
        elif self.not_following:
            last = [change[0] for change in changes[-FEWEST:]]
            calm = len(last) == FEWEST and _deviation(last) < CALM_K
            self._calm = self._calm + 1 if calm else 0
            # In calm air a thermometer that jumped away looks like one in brine.
            if self._calm >= (_CALM_STRETCHES if self._was_c is None else _CALM_AFTER_JUMP):
                self._believe()

    def _percent(self, temperature_c: float) -> float:
        """What the logarithm of this brine's conductivity does a kelvin."""
        at = min(max(temperature_c, -15.0), 30.0)
        return math.log(conductivity(self._target, at + 1) / conductivity(self._target, at))

    def _changes(self) -> list[tuple[float, float, float]]:
        """Changes over two stretches: temperature, logarithm of conductivity, noise variance."""
        first = self._standing_since // self._stretch + _BLENDS
        known = [one for one in self._stretches if one.number >= first]
        return [
            (
                b.temperature_c - a.temperature_c,
                b.log_conductivity - a.log_conductivity,
                a.noise + b.noise,
            )
            for a, b in zip(known, known[2:], strict=False)
            if b.number - a.number == 2
        ]

    def _swings(self, changes: list[tuple[float, float, float]]) -> bool:
        """Does it swing, beyond its noise, and conductivity does not follow?"""
        if len(changes) < FEWEST:
            return False
        n = len(changes)
        noise = math.sqrt(sum(change[2] for change in changes) / n)
        mean_t = sum(change[0] for change in changes) / n
        mean_l = sum(change[1] for change in changes) / n
        sum_tt = sum((change[0] - mean_t) ** 2 for change in changes)
        if round(math.sqrt(sum_tt / n), 6) < max(SWING_K, round(_OVER_NOISE * noise, 6)):
            return False
        sum_tl = sum((t - mean_t) * (ln - mean_l) for t, ln, _ in changes)
        sum_ll = sum((change[1] - mean_l) ** 2 for change in changes)
        slope = sum_tl / sum_tt
        left = max(0.0, sum_ll - slope * sum_tl) / (n - 2)
        # Changes over two stretches overlap: half of them count.
        error = math.sqrt(2 * left / sum_tt)
        usual = self._percent(self._stretches[-1].temperature_c)
        return round(slope + _STANDARD_ERRORS * error, 6) < round(SHARE_FOLLOWED * usual, 6)

    def snapshot(self) -> list[Any]:
        """What is remembered, as plain data."""
        return [
            self._number,
            [list(row) for row in self._this],
            [list(row) for row in self._latest],
            [list(stretch) for stretch in self._stretches],
            self._standing_since,
            self._calm,
            self._was_c,
            self._jumped,
            self.not_following,
            self.exchanged,
        ]

    def restore(self, data: list[Any]) -> None:
        """Become what `snapshot` wrote."""
        self._number, this, latest, stretches, self._standing_since = data[:5]
        self._calm, self._was_c, self._jumped, self.not_following, self.exchanged = data[5:]
        self._this = [Row(*row) for row in this]
        self._latest = deque((Row(*row) for row in latest), maxlen=_LATEST)
        self._stretches = deque((Stretch(*stretch) for stretch in stretches), maxlen=_KEPT)


def _range(rows: list[Row]) -> float:
    temperatures = [row.temperature_c for row in rows]
    return max(temperatures) - min(temperatures)


def _deviation(values: list[float]) -> float:
    mean = sum(values) / len(values)
    return round(math.sqrt(sum((value - mean) ** 2 for value in values) / len(values)), 6)


def _exchanged(before: Stretch, after: Stretch) -> bool:
    """Are the shelter and the brine each where the other was?"""
    if before.shelter_c is None or after.shelter_c is None:
        return False
    far = abs(after.temperature_c - before.temperature_c) / 4
    there = abs(after.temperature_c - before.shelter_c)
    back = abs(after.shelter_c - before.temperature_c)
    return max(there, back) <= far


def followings_of(
    plan: DepotPlan, sensors: dict[str, SensorTracker], probes: dict[str, Probe]
) -> list[Following]:
    """Each probe and its thermometer where a level tells that they are covered."""
    shelter = plan.sensor_of(Measure.TEMPERATURE, "shelter")
    inside = None if shelter is None else sensors[shelter.id]
    return [
        Following(probe, inside, plan.strength.target, plan.name_of(probe.thermometer.plan.id))
        for probe in probes.values()
        if probe.level is not None
    ]
