"""The strength of the mix that a fill brings, during the fill: from how the probe's reading moves.

Mutable, but pure. A tank that is filled is a stirred tank: each litre that comes in moves its
strength towards the mix's. The probe, low in the tank, follows the whole with a lag, since weak
brine floats. So the movement of the probe, divided by the movement for a mix stronger by a mass
fraction of 1, gives the mix. A constant error of the probe doesn't change that, so the probe's
factor stays what it was when the fill began, and its reading is not weighed with what the brine is
expected to be: what is learned of the probe meanwhile is no movement of the brine.
"""

import math
from collections import deque
from collections.abc import Sequence
from typing import Any, NamedTuple

from brineward.physics.conductivity import COLDEST_C, WARMEST_C
from brineward.physics.inversion import Isotherm
from brineward.physics.liquid_lines import most_liquid
from brineward.physics.phase_coefficients import EUTECTIC_C
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
"""Of a change of strength within a fill, as a mass fraction: plumes, a thermometer that lags, the
noise of a sound probe (simulated: 0.0008 in healthy fills). A noisier probe's comes on top."""
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
_KEPT, _EVERY = 600 * SECOND, 10 * SECOND
_FEWEST = 3
_QUARTILES = 1.349
"""Standard deviations from the lower quartile to the upper, of normal errors,"""
_OF_MEDIAN = 1.2533
"""and the standard error of a median, in those of a mean of as many."""


class Read(NamedTuple):
    """What probe and thermometer read."""

    time: Instant
    log_read: float
    """ln of S/m."""
    celsius: float


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


class Mark(NamedTuple):
    """A moment of the fill."""

    came: float
    """The share of the tank that the probe had seen come in,"""
    sure: float
    """and by the level's rise alone."""
    shown: float
    """What it showed then, as a mass fraction."""


class FillMix(Tracker):
    """One vessel's fill: the strength before it, how much came in, what the probe makes of it."""

    version = 3

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
        self._lately: deque[Read] = deque()
        """Of the last ten minutes, the newest last."""
        self._rest: tuple[float, float, float] | None = None
        """In the tank as it last stood still, the medians of what was read (ln of S/m; degC), and
        what the probe had stepped down, a mass fraction."""
        self._factor = 0.0
        """ln of what the probe's readings are multiplied by, since the fill began."""
        self._before: float | None = None
        """The strength of the tank before the fill, without what the probe had stepped."""
        self._stood: float | None = None
        """The same by the strength that the depot shows, while the tank stands and since: what is
        learned of the probe during a fill is in it, which the last fill's mix is judged by."""
        self._share = 0.0
        """Of what is in the tank now, how much came in since."""
        self._shown = 0.0
        """The same as the probe, which lags, sees it."""
        self._sure, self._sure_shown = 0.0, 0.0
        """Both again, of what the level's rise alone shows to have come in."""
        self._marks: list[Mark] = []
        """As the fill goes on, each time a quarter more has come in."""
        self._last: tuple[float, float, Instant] | None = None
        """Of the last fill: the strength before it, the share of the tank that it brought, and the
        probe's newest test then."""

    @property
    def under_way(self) -> bool:
        """Has enough come in since the tank stood still that anything could be said?"""
        return self._shown >= LEAST_MOVED

    def _take(self, time: Instant, value: float) -> Sequence[Output]:
        """A reading of the probe: once a minute the fill is carried forward."""
        self._note(time, value)
        gone = time - self._looked
        if gone < MINUTE:
            return ()
        self._looked = time
        if gone > _BROKEN_OFF:
            self._before = self._rest = None
        if self.level.settled(time):
            self._stand()
            return ()
        if self._rest is not None:
            self._begin(time, *self._rest)
        if self._before is not None:
            self._carry(gone / SECOND)
            self._mark()
            mix = self.mix()
            if mix is not None and mix.strength - mix.standard_uncertainty >= self._band_low:
                self.good_at = time
        return ()

    def _note(self, time: Instant, value: float) -> None:
        """Keep a reading of ten minutes, of a covered probe."""
        probe, lately = self.strength.probe, self._lately
        if lately and 0 <= time - lately[-1].time < _EVERY:
            return
        celsius = probe.thermometer.value
        if celsius is None or value <= 0.0 or not probe.thermometer.fresh(time):
            return
        if probe.covered() is False or not COLDEST_C <= celsius <= WARMEST_C:
            lately.clear()
            return
        lately.append(Read(time, round(math.log(value), 9), celsius))
        while len(lately) > _FEWEST and lately[0].time < time - _KEPT:
            lately.popleft()

    def _stand(self) -> None:
        """The tank stands still: the last fill is over, the next begins with what is read now."""
        filled = self._before is not None and self._share >= LAST_SHARE
        if filled and self._stood is not None:
            self._last = (self._stood, self._share, self._tested())
        shown = self.strength.lately.middle(_REST_SPAN_SECONDS)
        self._stood = None if shown is None else round(shown.mass_fraction - self._stepped(), 9)
        read = self._middle(_REST_SPAN_SECONDS)
        self._rest = None if read is None else (*read, self._stepped())
        self._before = None
        self._share = self._shown = self._sure = self._sure_shown = 0.0
        self._marks.clear()

    def _begin(self, now: Instant, log_read: float, celsius: float, stepped: float) -> None:
        """The tank begins to move: what the probe showed before, and its factor from now on."""
        calibration = self.strength.probe.calibration
        self._factor = 0.0
        if calibration.kept:
            self._factor = calibration.factor(now / SECOND, celsius, log_read).log_factor
        self._before = round(self._strength(log_read, celsius) - stepped, 9)
        self._rest = None

    def _mark(self) -> None:
        """Keep what is shown, each time a quarter more has come in."""
        least = MARK_FROM if not self._marks else MARK_EACH * self._marks[-1].came
        shown = self._shows(_SPAN_SECONDS)
        if self._shown >= least and shown is not None:
            self._marks.append(Mark(self._shown, self._sure_shown, round(shown, 6)))

    def _gained_nothing(self, shown: float) -> bool:
        """Was the tank weak before, and has it become no weaker?

        Then a mix looks too weak if less came in than is counted: so only the level's rise counts,
        not what the fill may bring while the pump draws.
        """
        before = self._before
        return before is not None and before < self._band_low and shown >= before - SHOWN_DOUBT

    def _read(self, span_seconds: float) -> list[Read]:
        """What was read so lately, and three readings at least where there are any."""
        lately = self._lately
        if not lately:
            return []
        since = lately[-1].time - span_seconds * SECOND
        read = [one for one in lately if one.time >= since]
        return read if len(read) >= _FEWEST else list(lately)[-_FEWEST:]

    def _middle(self, span_seconds: float) -> tuple[float, float] | None:
        """Medians of what was read so lately; None where nothing was."""
        read = self._read(span_seconds)
        if not read:
            return None
        middle = len(read) // 2
        log_read = sorted(one.log_read for one in read)[middle]
        return log_read, sorted(one.celsius for one in read)[middle]

    def _noise(self) -> float:
        """The standard error of the strength shown, by how its readings scatter; a mass fraction.

        A noisy probe in strong brine, where conductivity hardly grows with strength, moves by more
        than a healthy fill does.
        """
        read = self._read(_SPAN_SECONDS)
        middle = self._middle(_SPAN_SECONDS)
        if middle is None:
            return 0.0
        logs = sorted(one.log_read for one in read)
        number = len(logs)
        scatter = (logs[(3 * number) // 4] - logs[number // 4]) / _QUARTILES
        error = _OF_MEDIAN * scatter / math.sqrt(number)
        log_read, celsius = middle
        return self._strength(log_read, celsius) - self._strength(log_read - error, celsius)

    def _shows(self, span_seconds: float) -> float | None:
        """The strength shown, without the steps of the probe that no fill makes; None: none is."""
        read = self._middle(span_seconds)
        return None if read is None else self._strength(*read) - self._stepped()

    def _stepped(self) -> float:
        # A jet that strikes the probe fades: what it showed too strong is not taken off.
        return min(self.strength.probe.stepped, 0.0)

    def _strength(self, log_read: float, celsius: float) -> float:
        """By the factor that the probe had when the fill began; saturated brine's at most."""
        liquid = max(celsius, EUTECTIC_C)
        isotherm = Isotherm(liquid, most_liquid(liquid))
        return isotherm.mass_fraction(min(log_read + self._factor, isotherm.most_log))

    def _tested(self) -> Instant:
        return self.strength.probe.lessons

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
        came = inflow_m3_per_s(self.level, self._flow) * seconds / volume
        sure = came if self.level.movement.direction > 0 else 0.0
        fade = math.exp(-seconds / LAG_SECONDS)
        self._share, self._shown = _stirred(self._share, self._shown, came, fade)
        self._sure, self._sure_shown = _stirred(self._sure, self._sure_shown, sure, fade)

    def _volume(self) -> float:
        level = self.level.course.level or 0.0
        return self.level.vessel.shape.volume_m3(level)

    def mix(self) -> Mix | None:
        """The mix of the fill under way; None while too little has come in to tell."""
        now = self._shows(_SPAN_SECONDS)
        if self._before is None or now is None:
            return None
        came = self._sure_shown if self._gained_nothing(now) else self._shown
        if came < LEAST_MOVED:
            return None
        change = (now - self._before) / came
        shown_doubt = math.hypot(SHOWN_DOUBT, self._noise())
        doubt = math.hypot(shown_doubt / came, MODEL_SHARE * change)
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
            lately=round(self._by_latest(now), 6),
        )

    def _by_latest(self, shown: float) -> float:
        """By the latest mark that is well behind; infinite before there is one."""
        marks = [mark for mark in self._marks if mark.came <= LATELY * self._shown]
        if self._before is None or not marks:
            return math.inf
        came, sure, was = marks[-1]
        step = self._shown - came
        if self._gained_nothing(shown):
            step = max(self._sure_shown - sure, 1e-9)
        return self._before + (shown - was) / step + SHOWN_DOUBT / math.sqrt(2.0) / step

    def snapshot(self) -> list[Any]:
        """What is remembered, as plain data."""
        marks = [list(mark) for mark in self._marks]
        last = [self._last, self.good_at]
        came = [self._share, self._shown, self._sure, self._sure_shown]
        read = [self._rest, self._stood, self._factor, [list(one) for one in self._lately]]
        return [self._looked, self._before, came, last, marks, read]

    def restore(self, data: list[Any]) -> None:
        """Become what `snapshot` wrote."""
        looked, before, came, (last, self.good_at), marks, read = data
        rest, stood, factor, lately = read
        self._lately = deque(Read(int(time), *map(float, read)) for time, *read in lately)
        self._rest = None if rest is None else (float(rest[0]), float(rest[1]), float(rest[2]))
        self._stood, self._factor = None if stood is None else float(stood), float(factor)
        self._marks = [Mark(*map(float, mark)) for mark in marks]
        self._last = None
        if last is not None:
            self._last = (float(last[0]), float(last[1]), int(last[2]))
        self._looked = int(looked)
        self._share, self._shown, self._sure, self._sure_shown = map(float, came)
        self._before = None if before is None else float(before)


def _stirred(share: float, shown: float, came: float, fade: float) -> tuple[float, float]:
    """The share of a stirred tank that came in, and what a probe with a lag sees of it, after
    `came` (a share too) more; the probe keeps `fade` of what it was behind."""
    now = round(1.0 - (1.0 - share) * math.exp(-came), 9)
    middle = (share + now) / 2
    return now, round(middle + (shown - middle) * fade, 9)


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
