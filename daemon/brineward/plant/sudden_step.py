"""A probe whose strength steps from one minute to the next, faster than any fill could change it.

Mutable, but pure. What comes into a tank changes its strength gradually, and the probe follows with
a lag: the strength shown changes along a slope. A film of oil, air or grit is on a probe at once,
and stays. So of the change since the tank was last observed at rest, what came in a step is more
likely the probe's than the brine's, also while the tank is being filled. It need not be: a layer of
other brine that reaches the probe makes a step too. But that goes on changing, as it blends.
"""

from collections.abc import Sequence
from math import log
from operator import attrgetter
from typing import Any, NamedTuple

from brineward.physics.conductivity import (
    COLDEST_C,
    WARMEST_C,
    log_conductivity,
    slope_in_mass_fraction,
)
from brineward.physics.fed import FEED_LASTING, FEED_OWN, MOST_BRINE
from brineward.physics.refusals import NotBrine
from brineward.plant.noise import Noise
from brineward.plant.probes import Probe
from brineward.plant.tracker import Tracker
from brineward.readings.instants import MINUTE, SECOND, Instant
from brineward.readings.outputs import Output

LEAST_STEP = 0.003
"""Mass fraction: a smaller step can't be distinguished from brine that is warmer at the probe than
at the thermometer, or from a jet that hits the probe (common practice, no source)."""
ABOVE_NOISE = 4.5
"""A step is so many standard deviations of a single reading, as they scattered in the last half
hour: 4.75 of what the difference of two medians of three varies by in normal noise."""
ABOVE_SCATTER = 3.0
"""A step is this many times the differences among the readings before it, and among those after it:
a slope is no step."""
EVERY = 30 * SECOND
EACH_SIDE = 3
"""How many half minutes, or readings of a slower probe, before the step and after it; one between
them is left out, in which it may have come. So a fast probe's step is known before it could raise
`fill-weak`."""
STAYS_WITHIN, STAYS_UNCERTAINTIES = 0.004, 2.0
"""Mass fraction, and standard deviations of what the fill brings: after a step of the probe, the
strength changes no more than this; else it was a layer of brine (common practice, no source)."""
_BROKEN_OFF = 16 * MINUTE
_STRONGER = attrgetter("stronger")


class Shows(NamedTuple):
    """What the probe shows twice a minute."""

    time: Instant
    stronger: float
    """How much stronger than the depot's target, about, by its reading; a mass fraction."""
    read_s_per_m: float
    celsius: float
    came: float
    """The share of the tank that had come in since it was last observed at rest."""


class SuddenStep(Tracker):
    """How much one vessel's probe has moved in steps since the tank was last observed at rest."""

    version = 2

    def __init__(self, probe: Probe, target: float) -> None:
        self._probe = probe
        self._target = target
        self.name = f"sudden-step/{probe.vessel}"
        self.takes = {probe.sensor.plan.id: self._take}
        self._shown: list[Shows] = []
        self._looked: float | None = None
        """The observation from which what came in is counted, seconds."""
        self._tested: Instant = 0
        self._after = 0.0
        """What the probe showed after the last step."""
        self._noise = Noise(LEAST_STEP / ABOVE_NOISE)

    def _take(self, time: Instant, value: float) -> Sequence[Output]:
        """A reading of the probe: twice a minute it is compared with those before."""
        if self._shown and 0 <= time - self._shown[-1].time < EVERY:
            return ()
        probe = self._probe
        celsius, came = probe.thermometer.value, probe.came
        if celsius is None or not probe.thermometer.fresh(time) or not probe.covered():
            self._shown = []
            return ()
        looked = probe.looked_at
        if came is None or looked != self._looked or probe.tested_at != self._tested:
            self._looked, self._tested = looked, probe.tested_at
            probe.stepped, self._shown = 0.0, []
        if came is None or value <= 0.0 or not COLDEST_C <= celsius <= WARMEST_C:
            self._shown = []
            return ()
        off = log(value) - log_conductivity(self._target, celsius)
        stronger = round(off / slope_in_mass_fraction(self._target, celsius), 6)
        shows = Shows(time, stronger, value, celsius, came.share)
        if self._shown and not 0 < time - self._shown[-1].time <= _BROKEN_OFF:
            self._shown = []
        self._shown = [*self._shown[-2 * EACH_SIDE :], shows]
        self._noise.add(stronger)
        if probe.stepped:
            self._does_it_stay(came.share)
        if len(self._shown) > 2 * EACH_SIDE:
            self._look_for_step()
        return ()

    def _look_for_step(self) -> None:
        before, after = self._shown[:EACH_SIDE], self._shown[-EACH_SIDE:]
        was, now = _middle(before), _middle(after)
        step = round(now.stronger - was.stronger, 6)
        scatter = max(_spread(before), _spread(after))
        came = max(after[-1].came - before[0].came, 0.0)
        brine = came * (self._target if step < 0.0 else MOST_BRINE - self._target)
        least = ABOVE_NOISE * self._noise.variance**0.5
        if abs(step) < max(least + brine, ABOVE_SCATTER * scatter):
            return
        told = self._told(now) - self._told(was)
        self._probe.stepped = round(self._probe.stepped + told, 6)
        self._after, self._shown = now.stronger, after
        self._probe.stepped_at = after[-1].time
        if abs(self._probe.stepped) < LEAST_STEP:
            # It is back: a bubble that left.
            self._probe.stepped = 0.0

    def _does_it_stay(self, came: float) -> None:
        """A layer that blends goes on changing; a film does not."""
        now = _middle(self._shown[-EACH_SIDE:]).stronger
        brought = STAYS_UNCERTAINTIES * came * (FEED_LASTING**2 + FEED_OWN**2) ** 0.5
        if round(abs(now - self._after), 6) > STAYS_WITHIN + brought:
            self._probe.stepped = 0.0

    def _told(self, shown: Shows) -> float:
        """The strength by the reading alone; approximate if no brine reads like that."""
        try:
            told = self._probe.strength(
                shown.time, shown.read_s_per_m, shown.celsius, holding=False
            )
        except NotBrine:
            return self._target + shown.stronger
        return told.mass_fraction

    def snapshot(self) -> list[Any]:
        """What is remembered, as plain data."""
        shown = [list(one) for one in self._shown]
        stepped = [self._probe.stepped, self._probe.stepped_at]
        noise = self._noise.snapshot()
        return [shown, self._looked, self._tested, self._after, stepped, noise]

    def restore(self, data: list[Any]) -> None:
        """Become what `snapshot` wrote."""
        shown, looked, tested, after, stepped, noise = data
        self._shown = [Shows(int(time), *map(float, rest)) for time, *rest in shown]
        self._looked = None if looked is None else float(looked)
        self._tested, self._after = int(tested), float(after)
        self._probe.stepped, self._probe.stepped_at = float(stepped[0]), int(stepped[1])
        self._noise.restore(noise)


def _middle(shown: Sequence[Shows]) -> Shows:
    return sorted(shown, key=_STRONGER)[len(shown) // 2]


def _spread(shown: Sequence[Shows]) -> float:
    values = [one.stronger for one in shown]
    return max(values) - min(values)


def sudden_steps(probes: dict[str, Probe], target: float) -> list[SuddenStep]:
    """One for each vessel with a probe and a level, without which no fill is known; `target` is the
    depot's, a mass fraction above 0 to 0.27."""
    return [SuddenStep(probe, target) for probe in probes.values() if probe.level is not None]
