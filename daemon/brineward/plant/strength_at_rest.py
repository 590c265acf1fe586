"""A standing tank's strength: it doesn't change while nothing comes in.

Mutable, but pure. Brine changes its strength by what is filled in, not by itself. So if the
strength by a probe changes while the tank has been at rest for hours, the probe has changed: a
film, a scale, a drift. Rain or a leak into the tank shows in its level.
"""

from collections.abc import Sequence
from math import hypot
from typing import Any

from brineward.physics.fed import (
    FEED_LASTING,
    FEED_OWN,
    LEAST_BRINE,
    MOST_BRINE,
    SHARE_DOUBT,
    SHARE_LEAST,
)
from brineward.plant.levels import LevelTracker
from brineward.plant.slow_fall import ANNOUNCED_TIMES, BETWEEN_RESTS, Rest, fallen_slowly
from brineward.plant.strengths import Shown, StrengthTracker
from brineward.plant.tracker import Tracker
from brineward.readings.instants import HOUR, MINUTE, SECOND, Instant
from brineward.readings.outputs import Output

STANDS_FOR = 6 * HOUR
"""How long after its last movement a tank has no layer that could still sink or rise to the probe
(common practice, no source; three times what the simulated tank takes)."""
SPAN_SECONDS = 600.0
MOVED = 0.010
"""A strength that has changed by so much, as a mass fraction, is the probe's doing: a thermometer
0.2 K off explains a third of it over a day's warming or cooling (computed from the curve)."""
RETURNED = 0.004
"""Not less: the strength of standing brine draws what is shown to itself each time."""
_BROKEN_OFF = 10 * MINUTE  # after a longer silence of the probe, begin again
BLENDED_DOUBT = 0.004
"""Mass fraction: two readings of one probe that lie no further apart than a fill could have brought
them, and so much more (common practice, no source)."""
STEP_UNCERTAINTIES = 2.0
"""A step of the probe explains what is shown where all else lies within so many standard
deviations of what usually comes in."""
_RESTS_KEPT = 40
WATER_SHARE = 0.25
"""The level shows water by this share of what would be needed: then it may be that."""


class StrengthAtRest(Tracker):
    """What a vessel's probe showed once its brine had come to rest, and how far it is from it."""

    version = 3

    def __init__(self, strength: StrengthTracker, level: LevelTracker) -> None:
        self._strength = strength
        self._level = level
        self.vessel = strength.probe.vessel
        self.name = f"strength-at-rest/{self.vessel}"
        self.takes = {strength.probe.sensor.plan.id: self._take}
        self._seen_since: Instant = 0
        """What the tank did before this is not known."""
        self._looked: Instant = 0
        self._tested: Instant = 0
        """The probe's `lessons` that were seen last; 0 for none."""
        self.rested: tuple[float, float] | None = None
        """Strength and volume in m3 of the brine at rest; None while it is not at rest."""
        self._was: float | None = None
        """The strength that it showed when it was at rest last."""
        self._rests: list[Rest] = []
        """Those since the probe's correction last changed: the first, and the newest."""
        self._off_by = 0.0
        self._taught: Instant = 0
        """When these were last seen to have changed: strengths from before were computed
        otherwise."""

    def _take(self, time: Instant, value: float) -> Sequence[Output]:
        """A reading of the probe: once a minute the strength is compared with that at rest."""
        if time - self._looked < MINUTE:
            return ()
        if time - self._looked > _BROKEN_OFF:
            self._seen_since, self.rested = time, None
        self._looked = time
        self._take_test(time)
        volume = self._volume(time)
        if volume is None:
            self.rested = None
            return ()
        shown = self._strength.lately.middle(SPAN_SECONDS)
        if shown is None:
            return ()
        if self.rested is not None:
            self._was = None if self._off_by else shown.mass_fraction
            self._compare(round(shown.mass_fraction - self.rested[0], 6), volume)
        elif self._off_by or self._is_more_than_a_fill(shown) or self.step_alone(shown):
            return ()
        elif time - self._learned() > SPAN_SECONDS * SECOND:
            self.rested = (shown.mass_fraction, volume)
            self._remember(time, shown.mass_fraction)
        return ()

    def _remember(self, time: Instant, mass_fraction: float) -> None:
        rests = [one for one in self._rests if one[0] >= self._learned()]
        if len(rests) >= _RESTS_KEPT:
            del rests[1]
        self._rests = [*rests, (time, mass_fraction)]

    def _learned(self) -> Instant:
        """When a test or standing brine last changed the probe's correction."""
        changes = self._strength.probe.calibration.stands.changes
        seen = round(changes[-1].seconds * SECOND) if changes else 0
        return max(self._taught, seen)

    @property
    def off_by(self) -> float:
        """The probe has changed by so much on its own, until it is tested or is back; 0: not."""
        return 0.0 if self._off_by and self._is_tested() else self._off_by

    def _is_tested(self) -> bool:
        """Is there a new test that fits the probe as it is now?"""
        records = self._strength.probe.records
        if not records or records[-1].at <= self._tested:
            return False
        return records[-1].finding in ("kept", "step")

    def _compare(self, change: float, volume: float) -> None:
        """Has the probe changed on its own, or is it back?"""
        if not self._off_by:
            if abs(change) >= MOVED and self._is_the_probes(change, volume):
                self._off_by = change
        elif abs(change) < RETURNED:
            self._off_by = 0.0
        elif change * self._off_by > 0:
            self._off_by = change

    def _take_test(self, now: Instant) -> None:
        """A test corrects the probe's strength, and so does striking one; a test that doesn't fit
        it explains nothing."""
        lessons = self._strength.probe.lessons
        if lessons == self._tested:
            return
        if self._is_tested():
            self._off_by = 0.0
        self._tested, self._taught, self.rested = lessons, now, None
        self._was, self._rests = None, []

    def _volume(self, now: Instant) -> float | None:
        """The volume of a tank that has been at rest long enough; else None."""
        level, movement = self._level, self._level.movement
        if level.course.level is None or not level.settled(now) or level.sensor.implausible:
            return None
        if now - max(movement.since, self._seen_since) < STANDS_FOR:
            return None
        return level.vessel.shape.volume_m3(level.course.level)

    def _is_the_probes(self, change: float, volume: float) -> bool:
        """Can the brine itself not have changed by so much?"""
        if self.rested is None:
            return False
        strength, was = self.rested
        # Weaker by water, which takes room; stronger by nothing that a standing tank has.
        water = -change / strength * volume if change < 0 else 0.0
        return change > 0 or volume - was < WATER_SHARE * water

    def unlike_brine(self, shown: Shown, side: int, limit: float) -> bool:
        """Is brine that is shown beyond a limit still the brine that was inside it at rest?

        `side` is -1 for weaker, +1 for stronger. True as well while the probe is known to have
        changed on its own, for what no fill since it was at rest could have brought, and where a
        step of the probe is all that puts it beyond the limit.
        """
        if self.off_by:
            return True
        step = self.step_alone(shown)
        if step and side * (shown.mass_fraction - step - limit) <= 0:
            return True
        if self.rested is None:
            return self._is_more_than_a_fill(shown)
        if side * (self.rested[0] - limit) > 0:
            return False
        change = shown.mass_fraction - self.rested[0]
        volume = self._level.vessel.shape.volume_m3(self._level.course.level or 0.0)
        return side * change > 0 and self._is_the_probes(change, volume)

    def _is_more_than_a_fill(self, shown: Shown) -> bool:
        """Could neither water nor saturated brine have done it, by the share that came in?"""
        fed = self._strength.probe.came
        if self._was is None or fed is None:
            return False
        came = min(fed.share * (1.0 + SHARE_DOUBT) + SHARE_LEAST, 1.0)
        weakest = (1.0 - came) * self._was + came * LEAST_BRINE - BLENDED_DOUBT
        strongest = (1.0 - came) * self._was + came * MOST_BRINE + BLENDED_DOUBT
        return not weakest <= round(shown.mass_fraction, 6) <= strongest

    def step_alone(self, shown: Shown) -> float:
        """The probe's sudden step since it was at rest, a mass fraction, where what is shown is the
        brine that was there then, what usually comes in, and that step; else 0."""
        probe = self._strength.probe
        fed, step = probe.came, probe.stepped
        if not step or self.rested is not None or self._was is None or fed is None:
            return 0.0
        expected = self._was + fed.share * (fed.feed - self._was)
        feed = fed.share * hypot(FEED_LASTING, FEED_OWN)
        share = max(SHARE_DOUBT * fed.share, SHARE_LEAST) * (fed.feed - self._was)
        off = abs(shown.mass_fraction - step - expected)
        fits = round(off, 6) <= STEP_UNCERTAINTIES * hypot(feed, share) + BLENDED_DOUBT
        return step if fits else 0.0

    def fallen_slowly(
        self, shown: Shown, now: Instant, limit: float, *, announced: bool = False
    ) -> float:
        """How much weaker brine that is shown under a limit seems than after the last test, if a
        film that grows may have done it: then it is as likely the probe's doing as weak brine.
        Mass fractions; 0 where no film grows so fast, and where density is measured too, which a
        film leaves alone. Once that was announced, noise does not end it.
        """
        probe = self._strength.probe
        celsius = probe.thermometer.value
        if celsius is None or probe.density is not None:
            return 0.0
        return fallen_slowly(
            self._rests,
            tested=probe.tested_at,
            now=now,
            shown=shown.mass_fraction,
            celsius=celsius,
            limit=limit,
            besides=BETWEEN_RESTS * (ANNOUNCED_TIMES if announced else 1.0),
        )

    def snapshot(self) -> list[Any]:
        """What is remembered, as plain data."""
        times = [self._seen_since, self._looked, self._tested, self._taught]
        rests = [list(one) for one in self._rests]
        return [times, self.rested, self._off_by, self._was, rests]

    def restore(self, data: list[Any]) -> None:
        """Become what `snapshot` wrote."""
        (since, looked, tested, taught), rested, off_by, was, rests = data
        self._rests = [(int(at), float(strength)) for at, strength in rests]
        self._was = None if was is None else float(was)
        self._seen_since, self._looked = int(since), int(looked)
        self._tested, self._taught = int(tested), int(taught)
        self.rested = None if rested is None else (float(rested[0]), float(rested[1]))
        self._off_by = float(off_by)


def strengths_at_rest_of(
    strengths: dict[str, StrengthTracker], levels: dict[str, LevelTracker]
) -> list[StrengthAtRest]:
    """That of each vessel with a probe whose level is measured."""
    return [
        StrengthAtRest(strength, levels[vessel])
        for vessel, strength in strengths.items()
        if vessel in levels
    ]
