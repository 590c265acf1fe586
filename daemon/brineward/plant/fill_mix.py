"""The strength of the mix that a fill brings, during the fill: from how the probe's reading moves.

Mutable, but pure. A tank that is filled is a stirred tank: each litre that comes in moves its
strength towards the mix's. The probe, low in the tank, follows the whole with a lag, since weak
brine floats. So the movement of the probe, divided by the movement for a mix stronger by a mass
fraction of 1, gives the mix. A constant error of the probe doesn't change that.
"""

import math
from collections.abc import Sequence
from typing import Any, NamedTuple

from brineward.plant.levels import LevelTracker
from brineward.plant.strengths import StrengthTracker
from brineward.plant.tracker import Tracker
from brineward.readings.instants import MINUTE, SECOND, Instant
from brineward.readings.outputs import Output

LAG_SECONDS = 600.0
"""How far the probe is behind the whole tank while it is filled (simulated: 240 s for stronger
brine, 720 s for weaker; common practice, no source)."""
MODEL_SHARE = 0.2
"""That lag and the mixing are guesses: a mix's difference is known to this share of it."""
SHOWN_DOUBT = 0.0012
"""Of a change of strength within a fill, as a mass fraction: noise, plumes, a thermometer that
lags (simulated: 0.0008 in healthy fills)."""
LEAST_MOVED = 0.03
"""Before the probe would have moved by this share of the mix's distance nothing is said."""
LATELY = 0.6
"""Lately: since the probe had moved by this share of what it has."""
MARK_FROM, MARK_EACH = 0.01, 1.25
LAST_SHARE = 0.05
"""A fill of a smaller share of the tank says little about the next batch."""
NEAR_MARK_M = 0.05
"""How near its mark the float lets in less than its full flow."""

_SPAN_SECONDS, _REST_SPAN_SECONDS = 180.0, 600.0
_BROKEN_OFF = 5 * MINUTE


class Mix(NamedTuple):
    """The mix of the fill under way; mass fractions."""

    strength: float
    standard_uncertainty: float
    tank: float
    """The whole tank's now, which the probe is still to show."""
    when_full: float
    """The tank's when it is filled to its mark with this mix."""
    brought: float
    """The share of the tank that will then be of this mix, 0 to 1."""
    lately: float
    """The same as `strength`, from what came in lately alone, and half its uncertainty more."""


class FillMix(Tracker):
    """One vessel's fill: the strength before it, how much came in, what the probe makes of it."""

    version = 2

    def __init__(
        self, strength: StrengthTracker, level: LevelTracker, flow: float, band_low: float
    ) -> None:
        self.strength = strength
        self.level = level
        self._flow, self._band_low = flow, band_low
        self.vessel = strength.probe.vessel
        self.name = f"mix/{self.vessel}"
        self.takes = {strength.probe.sensor.plan.id: self._take}
        self.good_at: Instant = 0
        """When the mix was last in the band for sure, by one standard uncertainty; 0 for never."""
        self._looked: Instant = 0
        self._before: float | None = None
        """The strength of the tank when it last stood still, without what the probe had stepped."""
        self._share = 0.0
        """Of what is in the tank now, how much came in since."""
        self._shown = 0.0
        """The same as the probe, which lags, sees it."""

        self._marks: list[tuple[float, float]] = []
        """As the fill goes on: the share as the probe sees it, and what it showed then."""
        self._last: tuple[float, float, Instant] | None = None
        """Of the last fill: the strength before it, the share of the tank that it brought, and the
        probe's newest test then."""

    @property
    def under_way(self) -> bool:
        """Has enough come in since the tank stood still that anything could be said?"""
        return self._shown >= LEAST_MOVED

    def _take(self, time: Instant, value: float) -> Sequence[Output]:
        """A reading of the probe: once a minute the fill is carried forward."""
        gone = time - self._looked
        if gone < MINUTE:
            return ()
        self._looked = time
        if gone > _BROKEN_OFF:
            self._before = None
        if self.level.settled(time):
            if self._before is not None and self._share >= LAST_SHARE:
                self._last = (self._before, self._share, self._tested())
            self._before = self._shows(_REST_SPAN_SECONDS)
            self._share = self._shown = 0.0
            self._marks.clear()
        elif self._before is not None:
            self._carry(gone / SECOND)
            self._mark()
            mix = self.mix()
            if mix is not None and mix.strength - mix.standard_uncertainty >= self._band_low:
                self.good_at = time
        return ()

    def _mark(self) -> None:
        """Keep what is shown, each time a quarter more has come in."""
        least = MARK_FROM if not self._marks else MARK_EACH * self._marks[-1][0]
        shown = self._shows(_SPAN_SECONDS)
        if self._shown >= least and shown is not None:
            self._marks.append((self._shown, round(shown, 6)))

    def _shows(self, span_seconds: float) -> float | None:
        """The strength shown, without the steps of the probe that no fill makes; None: none is."""
        shown = self.strength.lately.middle(span_seconds)
        # A jet that strikes the probe fades: what it showed too strong is not taken off.
        stepped = min(self.strength.probe.stepped, 0.0)
        return None if shown is None else shown.mass_fraction - stepped

    def _tested(self) -> Instant:
        records = self.strength.probe.records
        return records[-1].at if records else 0

    def last_mix(self) -> tuple[float, float] | None:
        """The mix of the last fill that brought a fair share, and its standard uncertainty.

        Mass fractions, by the brine now that it stands; None where it isn't known, or the probe
        was tested since and shows the same brine otherwise.
        """
        shown = self.strength.lately.middle(_REST_SPAN_SECONDS)
        if self._last is None or shown is None:
            return None
        before, share, tested = self._last
        if tested != self._tested():
            return None
        change = (shown.mass_fraction - before) / share
        return before + change, math.hypot(SHOWN_DOUBT / share, MODEL_SHARE * change)

    def _carry(self, seconds: float) -> None:
        """Add a time step's inflow to the stirred tank, and let the probe follow."""
        volume = self._volume()
        if volume <= 0.0:
            return
        kept = math.exp(-inflow_m3_per_s(self.level, self._flow) * seconds / volume)
        share = round(1.0 - (1.0 - self._share) * kept, 9)
        middle = (self._share + share) / 2
        fade = math.exp(-seconds / LAG_SECONDS)
        self._shown = round(middle + (self._shown - middle) * fade, 9)
        self._share = share

    def _volume(self) -> float:
        level = self.level.course.level or 0.0
        return self.level.vessel.shape.volume_m3(level)

    def mix(self) -> Mix | None:
        """The mix of the fill under way; None while too little has come in to tell."""
        now = self._shows(_SPAN_SECONDS)
        if self._before is None or now is None or not self.under_way:
            return None
        change = (now - self._before) / self._shown
        doubt = math.hypot(SHOWN_DOUBT / self._shown, MODEL_SHARE * change)
        strength = self._before + change
        tank = self._before + (strength - self._before) * self._share
        mark = self.level.vessel.fill_mark_m
        whole = 0.0 if mark is None else self.level.vessel.shape.volume_m3(mark)
        left = max(0.0, 1.0 - self._volume() / whole) if whole > 0 else 0.0
        return Mix(
            strength=round(strength, 6),
            standard_uncertainty=round(doubt, 6),
            tank=round(tank, 6),
            when_full=round(tank + (strength - tank) * left, 6),
            brought=round(self._share + (1.0 - self._share) * left, 6),
            lately=round(self._lately(now), 6),
        )

    def _lately(self, shown: float) -> float:
        """By the latest mark that is well behind; infinite before there is one."""
        marks = [mark for mark in self._marks if mark[0] <= LATELY * self._shown]
        if self._before is None or not marks:
            return math.inf
        share, was = marks[-1]
        step = self._shown - share
        return self._before + (shown - was) / step + SHOWN_DOUBT / math.sqrt(2.0) / step

    def snapshot(self) -> list[Any]:
        """What is remembered, as plain data."""
        marks = [list(mark) for mark in self._marks]
        last = [self._last, self.good_at]
        return [self._looked, self._before, self._share, self._shown, last, marks]

    def restore(self, data: list[Any]) -> None:
        """Become what `snapshot` wrote."""
        looked, before, share, shown, (last, self.good_at), marks = data
        self._marks = [(float(share), float(shown)) for share, shown in marks]
        self._last = None
        if last is not None:
            self._last = (float(last[0]), float(last[1]), int(last[2]))
        self._looked, self._share, self._shown = int(looked), float(share), float(shown)
        self._before = None if before is None else float(before)


def inflow_m3_per_s(level: LevelTracker, flow: float) -> float:
    """Into the tank: by its rise, or by its fill's own `flow` while it is loaded from; m3/s."""
    height, slope = level.course.level or 0.0, level.course.slope or 0.0
    direction = level.movement.direction
    if direction > 0:
        return max(0.0, slope) * level.vessel.shape.area_m2(height)
    mark = level.vessel.fill_mark_m
    near = mark is not None and height > mark - NEAR_MARK_M
    return flow if direction < 0 and not near else 0.0


def fill_mixes(
    flows: dict[str, float],
    strengths: dict[str, StrengthTracker],
    levels: dict[str, LevelTracker],
    band_low: float,
) -> list[FillMix]:
    """The mix of each declared fill, by its flow in m3/s, whose vessel has a probe and a level.

    `band_low` is the low end of the depot's strength band, as a mass fraction.
    """
    return [
        FillMix(strengths[vessel], levels[vessel], flow, band_low)
        for vessel, flow in flows.items()
        if vessel in strengths and vessel in levels
    ]
