"""Brine outside its strength band, weak or strong: what the two alarms share."""

from collections.abc import Callable, Iterator
from dataclasses import dataclass
from functools import lru_cache

from brineward.alarms.condition import CLEAR, Condition, Finding, Site, Verdict, Words
from brineward.alarms.decision import (
    AS_LIKELY_AS_NOT,
    SELDOM_OFF,
    SILENCE_WEAK,
    UNTESTED_AT_LEAST,
    silence_strong,
    uncertainties_outside,
)
from brineward.alarms.record import AlarmRecord, Coverage
from brineward.physics.margins import ice_in_weakest_c
from brineward.physics.salinity import NotBrine
from brineward.plant.plan import DepotPlan, Measure, Vessel
from brineward.plant.probes import Probe
from brineward.plant.strength_at_rest import StrengthAtRest
from brineward.plant.strengths import Shown, StrengthTracker
from brineward.readings.instants import Instant
from brineward.readings.modes import Mode
from brineward.wording.operator_units import percent

SPAN_SECONDS = 180.0
"""The strength of a standing tank is the median of so many seconds, the time that it settles in."""

STAYS = 0.5
"""An alarm stays active until the strength is back by this many standard uncertainties more than it
had to be outside, and in any case inside."""

NIGHT_FALLS = 2
NIGHT_SPAN_SECONDS = 600.0
NIGHT_UNCERTAINTIES = 2.0
NIGHT_BEYOND = 0.005
"""On a storm night the tank never settles. Where it was loaded from so often since it last stood,
it is judged while it moves: by the median of ten minutes, which must be outside by so many standard
uncertainties and half a percent of strength more.

In six simulated storm nights and a busy week the medians of ten minutes in a moving tank were
0.5 % or more inside both limits, the true strength never under 22.5 %.
"""

ASKS = "probe-drifted"
"""The alarm that asks for a test in place of these two; where it is switched off they wait for
nothing."""

BY_ONE_TEST = Verdict.not_now("the last test alone makes it so, and the others disagree")
DENIED = Verdict.not_now("the last test, which was set aside, puts it inside")
FILM_OR_BRINE = Verdict.not_now("a film that grows would explain it as well as weak brine")
UNLIKE_BRINE = Verdict.not_now("the probe has changed by what nothing that came in explains")

BASIS = (
    "The {end} end of the depot's strength band, passed in the median of three minutes by so many "
    "standard uncertainties that the chance of its being off, times the cost of silence, is more "
    "than the chance of a false text, times the cost of that: {rule} 1.5 for a probe that was "
    "never tested. While a fill moves the level the tank is not judged. If it was loaded "
    "from twice or more without settling, the median of ten minutes is used, and must be outside "
    "the band by two standard uncertainties and 0.5 %. On healthy storm nights such medians stayed "
    "0.4 % or more inside (simulated). A first batch is made up to strength while it is filled up, "
    "and what is drained or flushed is loaded no more: quiet in those modes, judged in service. "
    "What neither water nor saturated brine could have done, by the share that came in since the "
    "tank stood, is the probe's doing: it waits for six hours at rest. What came in one step and "
    "stays is likelier the probe's doing than the brine's: `probe-drifted` then tells of both. "
    "Nor is it announced where the last test alone puts it outside and lies 1.5 standard "
    "deviations or more from what the others predict, nor where one that was set aside puts it "
    "inside: `probe-drifted` then asks for another. Brine "
    "that looks weaker no faster than a film of 5 % a month could make it look since the last test "
    "may be either: `probe-drifted` says so in place of `brine-weak`, and asks for the test."
)

QUIET_IN = (Mode.FILLING_UP, Mode.DRAINING, Mode.LAID_UP)
"""Modes in which nobody loads what the tank holds."""


@dataclass(frozen=True, slots=True, kw_only=True)
class Strength(Finding):
    """A strength outside its band, with its 95 % interval; mass fractions."""

    low: float
    high: float
    tested: bool = True
    """Was the probe ever tested by hand? If not, its number is uncalibrated."""
    freezes_c: float | None = None
    """Weak brine: where ice comes out of the weakest it may be, in degC, if it may freeze outdoors
    tonight; else None."""
    tonight_c: float | None = None
    """How cold it may become outdoors then."""


class StrengthOutside(Condition[Strength]):
    """The strength is below (`side` -1) or above (+1) a limit by one standard uncertainty or more.

    Judged only while the probe is covered and the tank has stood still long enough to be blended:
    weak readings while a batch is still blending are the plant's normal life. Only a tank that is
    loaded from again and again is judged while it moves, and must then be far outside. It clears
    when the value itself is back inside, in a still tank. Where the level is not known,
    cover and blending can't be judged, and it is judged all the same.
    """

    def __init__(
        self,
        site: Site,
        tracker: StrengthTracker,
        *,
        side: int,
        limit: float,
        called: str,
        before_frost: str,
    ) -> None:
        self._tracker = tracker
        self._standing: StrengthAtRest | None = site.trackers.strengths_at_rest.get(
            tracker.probe.vessel
        )
        self._mix = site.trackers.mixes.get(tracker.probe.vessel)
        self._cold_ahead = site.trackers.cold_ahead
        asks = site.plan.alarms.get(ASKS)
        self._asks = asks is None or asks.enabled
        self._side = side
        self._band_end = limit
        self._called = called
        self._before_frost = before_frost
        after = (tracker.probe.sensor,)
        vessel = tracker.probe.vessel
        super().__init__(
            site, vessel, Strength, judged_after=after, limit=limit, unit="1", side=side
        )

    def judge(self, now: Instant, active: bool) -> Verdict:
        """Outside its limit beyond one standard uncertainty? Unknown while it can't be known."""
        unknown = self._unknown()
        if unknown is not None:
            return unknown
        level = self._tracker.probe.level
        if level is not None and not level.sensor.fresh(now):
            return Verdict.unknown("the level is silent", level.sensor.plan.id)
        if self._standing is not None and self._standing.off_by:
            return Verdict.not_now("the probe has changed on its own, and was not tested since")
        if level is not None and not level.settled(now):
            return self._moving(level.falls, now, active)
        shown = self._tracker.lately.middle(SPAN_SECONDS)
        if shown is None:
            return Verdict.not_now("no strength yet")
        return self._settled(shown, now, active)

    def _settled(self, shown: Shown, now: Instant, active: bool) -> Verdict:
        """Does a tank at rest need a text, or does the one that was sent still apply?"""
        beyond = self._side * (shown.mass_fraction - self._band_end)
        if round(beyond + STAYS * shown.standard_uncertainty, 6) < 0:
            return CLEAR
        outside = self._outside(shown, now)
        if active:
            outside = min(0.0, outside - STAYS)
        verdict = self._verdict(shown, outside * shown.standard_uncertainty, now)
        standing = self._standing
        if (
            verdict.active
            and not active
            and standing is not None
            and standing.unlike_brine(shown, self._side, self._band_end)
        ):
            return UNLIKE_BRINE
        if verdict.active and not active and self._by_one_test(shown, now):
            return BY_ONE_TEST
        if verdict.active and not active and self._in_spite_of_test(shown):
            return DENIED
        if verdict.active and not active and self._fallen_slowly(shown, now):
            return FILM_OR_BRINE
        return verdict

    def _fallen_slowly(self, shown: Shown, now: Instant) -> bool:
        """Weaker by no more than a film may have taken since the last test, and as slowly?"""
        standing = self._standing
        if self._side > 0 or standing is None or not self._asks:
            return False
        return bool(standing.fallen_slowly(shown, now, self._band_end))

    def _by_one_test(self, shown: Shown, now: Instant) -> bool:
        """Would it be inside if the last test, which no other bears out, had not been made?"""
        return self._asks and by_one_test(
            self._tracker.probe, shown, now, self._side, self._band_end
        )

    def _in_spite_of_test(self, shown: Shown) -> bool:
        """Would it be inside if the last test, which was set aside, were right?"""
        probe, side = self._tracker.probe, self._side
        return self._asks and in_spite_of_test(probe, shown, side, self._band_end)

    def _outside(self, shown: Shown, now: Instant) -> float:
        """By how many standard uncertainties it must be outside: the decision of least cost."""
        odds, silence = SELDOM_OFF, SILENCE_WEAK
        if self._side > 0:
            cold = self._cold_ahead
            expected_c = None if cold is None else cold.expected_c(now)
            silence = silence_strong(max(shown.mass_fraction, self._band_end), expected_c)
            last = None if self._mix is None else self._mix.last_mix()
            if last is not None and round(last[0] - last[1], 6) > self._band_end:
                odds = AS_LIKELY_AS_NOT
        wanted = uncertainties_outside(odds, silence)
        if not self._tracker.probe.calibrated:
            wanted = max(wanted, UNTESTED_AT_LEAST)
        return wanted

    def _unknown(self) -> Verdict | None:
        """Why the probe shows nothing of the brine; None where it does."""
        found, probe = self._tracker.newest, self._tracker.probe
        if found is None:
            why = "no fresh temperature beside the conductivity"
            return Verdict.unknown(why, probe.thermometer.plan.id)
        for sensor in (probe.sensor, probe.thermometer):
            if sensor.implausible:
                return Verdict.unknown(
                    f"{self.units.name_of(sensor.plan.id)} is implausible", sensor.plan.id
                )
        if probe.level is not None and not (covered := probe.covered()):
            why, level = "the probe is not known to be covered", probe.level.sensor.plan.id
            unknown = covered is None
            return Verdict.unknown(why, level) if unknown else Verdict.not_now(why)
        # What no brine can read has an alarm of its own, strength-unknown.
        return Verdict.not_now(found.sentence) if isinstance(found, NotBrine) else None

    def _moving(self, falls: int, now: Instant, active: bool) -> Verdict:
        """Far outside, in a tank that is loaded from again and again? Else it can't be known."""
        if falls >= NIGHT_FALLS:
            shown = self._tracker.lately.middle(NIGHT_SPAN_SECONDS)
            if shown is not None:
                margin = NIGHT_UNCERTAINTIES * shown.standard_uncertainty + NIGHT_BEYOND
                verdict = self._verdict(shown, margin, now)
                standing = self._standing
                if verdict.active and standing is not None and standing.step_alone(shown):
                    return UNLIKE_BRINE
                if verdict.active and not active and self._by_one_test(shown, now):
                    return BY_ONE_TEST
                if verdict.active:
                    return verdict
        return Verdict.not_now("the tank is moving or blending")

    def _verdict(self, shown: Shown, margin: float, now: Instant) -> Verdict:
        # Rounded before the comparison, so that all processors agree.
        beyond = round(self._side * (shown.mass_fraction - self._band_end) - margin, 6)
        if beyond <= 0:
            return CLEAR
        freezes_c, tonight_c = self._frost(shown, now)
        finding = Strength(
            value=round(shown.mass_fraction, 5),
            limit=self._band_end,
            unit="1",
            low=round(shown.low, 5),
            high=round(shown.high, 5),
            tested=self._tracker.probe.calibrated,
            freezes_c=freezes_c,
            tonight_c=tonight_c,
        )
        return Verdict(True, finding)

    def _frost(self, shown: Shown, now: Instant) -> tuple[float | None, float | None]:
        """Where weak brine freezes and how cold it may become, if it may freeze; else None."""
        cold = None if self._cold_ahead is None else self._cold_ahead.expected_c(now)
        if self._side > 0 or cold is None or cold > 0.0:
            return None, None
        freezes_c, tonight_c = round(ice_c(shown.low), 1), round(cold, 1)
        return (freezes_c, tonight_c) if tonight_c <= freezes_c else (None, None)

    def words(self, finding: Strength, now: Instant) -> Words:
        """The strength with its interval, against the band's end."""
        value, limit = percent(finding.value or 0.0), percent(finding.limit or 0.0)
        between = f"{percent(finding.low)}-{percent(finding.high)}"
        how_bad = f"{value} % ({between}; limit {limit})"
        if value == limit:
            how_bad = f"at the limit, {value} % ({between})"
        if not finding.tested:
            # Whose number is uncalibrated is said first; its limit has no room beside that.
            reads = f"{self.name} probe untested, reads {self._called}"
            return Words(reads, f"{value} % ({between})", past=f"{self.name} read {self._called}")
        headline, past = (
            f"{self.name} brine {self._called}",
            f"{self.name} brine was {self._called}",
        )
        if finding.freezes_c is None or finding.tonight_c is None:
            return Words(headline, how_bad, past=past)
        ice, tonight = (self.units.temperature(c) for c in (finding.freezes_c, finding.tonight_c))
        return Words(
            headline,
            f"{value} %",
            f"freezes at {ice}, {tonight} tonight",
            detail=f"{between}; limit {limit}",
            past=past,
            response=self._before_frost,
        )


def ice_c(low: float) -> float:
    """Where ice comes out of the weakest brine that there may be, in degC, by the low end of its
    interval, a mass fraction."""
    return _ice_in_weakest_c(round(low, 4))


@lru_cache(maxsize=64)
def _ice_in_weakest_c(mass_fraction: float) -> float:
    """The same strength is asked for time and again."""
    return ice_in_weakest_c(mass_fraction)


def by_one_test(probe: Probe, shown: Shown, now: Instant, side: int, limit: float) -> bool:
    """Is what is shown beyond a limit by the last test alone, which no other bears out?

    `side` is -1 for weaker, +1 for stronger; the limit is a mass fraction.
    """
    lent = probe.by_last_test(now, shown.mass_fraction)
    return side * lent > 0 and round(side * (shown.mass_fraction - lent - limit), 6) <= 0


def in_spite_of_test(probe: Probe, shown: Shown, side: int, limit: float) -> bool:
    """Is what is shown beyond a limit inside it by the last test, which was set aside?"""
    by_it = shown.mass_fraction + probe.by_set_aside()
    return by_it != shown.mass_fraction and round(side * (by_it - limit), 6) <= 0


def measured_vessels(plan: DepotPlan) -> Iterator[Vessel]:
    """The vessels of sodium chloride brine with a probe and a thermometer."""
    for vessel in plan.vessels.values():
        measures = (Measure.CONDUCTIVITY, Measure.TEMPERATURE)
        known = all(plan.sensor_of(measure, vessel.id) is not None for measure in measures)
        if vessel.holds_brine and vessel.brine == "sodium chloride" and known:
            yield vessel


def strength_coverage(record: AlarmRecord) -> Callable[[DepotPlan], Iterator[Coverage]]:
    """How an alarm that is judged by a vessel's strength is watched."""

    def coverage(plan: DepotPlan) -> Iterator[Coverage]:
        measured = {vessel.id for vessel in measured_vessels(plan)}
        for vessel in plan.vessels.values():
            if not vessel.holds_brine:
                continue
            if vessel.id not in measured:
                helps = f"a conductivity and a temperature in {vessel.id}"
                if vessel.brine != "sodium chloride":
                    helps = f"nothing yet: {vessel.brine} is not converted, so test it by hand"
                yield Coverage(record.id, vessel.id, "blind", (), helps)
                continue
            by = tuple(
                sensor.id
                for measure in (Measure.CONDUCTIVITY, Measure.TEMPERATURE)
                if (sensor := plan.sensor_of(measure, vessel.id)) is not None
            )
            if plan.sensor_of(Measure.LEVEL, vessel.id) is not None:
                yield Coverage(record.id, vessel.id, "covered", by)
            else:
                yield Coverage(record.id, vessel.id, "indirect", by, f"a level in {vessel.id}")

    return coverage


def outside(
    *, side: int, called: str, before_frost: str = ""
) -> Callable[[Site], Iterator[StrengthOutside]]:
    """The conditions of an alarm at one end of the band, and what its text asks for before a frost
    in which weak brine may freeze."""

    def conditions(site: Site) -> Iterator[StrengthOutside]:
        band = site.plan.strength
        limit = band.low if side < 0 else band.high
        for vessel in measured_vessels(site.plan):
            tracker = site.trackers.strengths[vessel.id]
            yield StrengthOutside(
                site, tracker, side=side, limit=limit, called=called, before_frost=before_frost
            )

    return conditions
