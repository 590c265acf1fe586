"""Probe and test disagree, a film grows, or the brine seems to change as brine can't."""

from brineward.alarms.condition import CLEAR, Alarm, Condition, Explained, Site, Verdict, Words
from brineward.alarms.decision import SELDOM_OFF, SILENCE_WEAK, uncertainties_outside
from brineward.alarms.record import AlarmRecord
from brineward.alarms.strength_band import (
    SPAN_SECONDS,
    by_one_test,
    in_spite_of_test,
    measured_vessels,
)
from brineward.physics.salinity import Salinity
from brineward.plant.probes import Probe
from brineward.plant.recorded_test import ODD_FROM
from brineward.plant.strength_at_rest import MOVED, StrengthAtRest
from brineward.readings.instants import Instant
from brineward.readings.modes import Mode
from brineward.readings.outputs import Priority
from brineward.wording.operator_units import percent

BACK_INSIDE = 0.003
"""Mass fraction: brine that a film may have put under its limit is inside again from here on,
beyond what noise moves it by (common practice, no source)."""
ASKED_UNTIL = 0.01
"""Mass fraction: once it was asked which is right, the last test or all others, by one of which the
brine is outside its band, only a test ends that, or brine that is so far on the other side of the
limit by either. Noise at the limit must not ask again and again (common practice, no source)."""

RECORD = AlarmRecord(
    id="probe-drifted",
    title="PROBE AND TEST DISAGREE",
    place=70,
    priority=Priority.LOW,
    cause="A film, scale or air on the probe, a thermometer that is off, or a test misread.",
    consequence="The strength is off, or known only within a wide range.",
    response="Test again by hydrometer, with the sample's temperature, before the brine is loaded. "
    "Lock the pump out, clean the probe as its maker says, and say so with the next test. Nobody "
    "leans in or climbs in: a probe that can't be pulled from outside is left.",
    text_response="Hydrometer test before loading. Lock pump out, clean probe; don't lean in.",
    respond_within="the next working day",
    on_delay_seconds=0.0,
    off_delay_seconds=0.0,
    basis="A test four standard deviations from what earlier tests predict, a second one that "
    "agrees with one three off where the probe is 2 % off, or a probe 5 % off (common "
    "practice, no source, for the 2 and 5 %). Or brine that has been at rest for six hours, "
    "with no fill and no water that the level shows, and yet changes by 1 % of strength: a "
    "thermometer {0.2 K} off explains a third of that. Or looks at standing brine, eight "
    "hours apart, by which the probe is 1 % off what it read of the same brine (common "
    "practice, no source). Or tests and such looks together are 30 times likelier if a film "
    "has begun to grow, and it takes 0.5 % a month or more. Or a strength that steps by 1 % from "
    "one minute to the next and stays, in a tank that fills or blends, where brine changes along a "
    "slope: a film is likelier than brine, so while that puts it outside the band this is raised "
    "instead of weak or strong brine, and as urgently, until the brine has been still for six "
    "hours or is tested. As urgent is a last test that alone puts the brine outside its band and "
    "lies 1.5 standard deviations or more from what the others predict: weak or strong brine is "
    "not announced by that until another test, on another occasion, bears it out; nor where a last "
    "test that was set aside puts the brine inside. Once asked, it is asked until a test, or "
    "until the brine is 1 % inside or outside by either. And as urgent is "
    "brine that comes to look weak so slowly that a film could have done it: one that takes 5 % of "
    "the reading a month could explain what it lacks, and every fall since its last test, fill by "
    "fill, beyond 0.4 % (common practice, no source). Laid up there is no brine to test again.",
    quiet_in=(Mode.LAID_UP,),
)


class ProbeDrifted(Condition[Explained]):
    """The last test does not fit what the probe read, or brine at rest seems to change."""

    def __init__(self, site: Site, probe: Probe) -> None:
        self._probe = probe
        self._standing: StrengthAtRest | None = site.trackers.strengths_at_rest.get(probe.vessel)
        self._strength = site.trackers.strengths[probe.vessel]
        self._band = site.plan.strength.low, site.plan.strength.high
        after = (probe, probe.sensor)
        super().__init__(site, probe.vessel, Explained, judged_after=after)

    def at_rest(self) -> bool:
        """The last test left no question, and brine at rest keeps its strength."""
        unmoved = self._standing is None or not self._standing.off_by
        stepped = self._probe.stepped or self._probe.calibration.doubted()
        newest = self._strength.newest
        low, high = self._band
        off = isinstance(newest, Salinity) and not low <= newest.mass_fraction <= high
        questioned = stepped or off or self._probe.question(odd_from=ODD_FROM)
        return unmoved and not questioned

    def judge(self, now: Instant, active: bool) -> Verdict:
        """Does the last test leave a question, or the probe?"""
        why = self._probe.question(odd_from=ODD_FROM)
        if not why and self._standing is not None and self._standing.off_by:
            off_by = self._standing.off_by
            goes = "fell" if off_by < 0 else "rose"
            why = f"probe {goes} {percent(abs(off_by))} % with nothing added"
        # What is asked is of low priority, unless brine that is off waits for the answer.
        graver = self._in_place_of_brine(now, active and not why)
        if graver is not None:
            return graver
        return Verdict.explained(why) if why else self._stepped(active)

    def _in_place_of_brine(self, now: Instant, active: bool) -> Verdict | None:
        """Is the brine outside its band by what may be a test's doing, or a film's?"""
        return self._by_one_test(now, active) or self._fallen_slowly(now, active)

    def _by_one_test(self, now: Instant, active: bool) -> Verdict | None:
        """Does the last test alone put the brine outside its band, against all others; or all
        others, against the last one, which was set aside?"""
        shown = self._strength.lately.middle(SPAN_SECONDS)
        if shown is None or not (active or self._probe.in_standing_brine(now)):
            return None
        near = ASKED_UNTIL if active else 0.0
        for side, limit in zip((-1, 1), self._band, strict=True):
            beyond = round(side * (shown.mass_fraction - limit) + near, 6) > 0
            inside = limit + side * near
            alone = by_one_test(self._probe, shown, now, side, inside)
            denied = in_spite_of_test(self._probe, shown, side, inside)
            if beyond and (alone or denied):
                finding = Explained(why=self._probe.disagreement(), priority=Priority.MEDIUM)
                return Verdict(True, finding)
        return None

    def _fallen_slowly(self, now: Instant, active: bool) -> Verdict | None:
        """Has the brine become weak so slowly that a film may have done it? As urgent as weak
        brine, and announced as surely as that would be."""
        shown = self._strength.lately.middle(SPAN_SECONDS)
        standing = self._standing
        if shown is None or standing is None or not (active or self._probe.in_standing_brine(now)):
            return None
        limit = self._band[0]
        enough = uncertainties_outside(SELDOM_OFF, SILENCE_WEAK) * shown.standard_uncertainty
        if round(shown.mass_fraction + (-BACK_INSIDE if active else enough) - limit, 6) >= 0:
            return None
        fallen = standing.fallen_slowly(shown, now, limit, announced=active)
        if not fallen:
            return None
        why = f"probe slowly down {percent(fallen)} %, film or weak brine"
        return Verdict(True, Explained(why=why, priority=Priority.MEDIUM))

    def _stepped(self, active: bool) -> Verdict:
        """Did the probe step while the tank moved or blended? As urgent as brine that is off, where
        it looks off by that."""
        shown = self._strength.lately.middle(SPAN_SECONDS)
        step = self._probe.stepped
        standing = self._standing
        if shown is None or standing is None or standing.rested is not None or not step:
            return CLEAR
        low, high = self._band
        outside = not low <= shown.mass_fraction <= high
        worth_it = outside or abs(step) >= MOVED
        if not active and not (worth_it and standing.step_alone(shown)):
            return CLEAR
        goes, brine = ("down", "weak") if step < 0 else ("up", "strong")
        why = f"probe {goes} {percent(abs(step))} %, film or {brine} brine"
        return Verdict(True, Explained(why=why, priority=Priority.MEDIUM if outside else None))

    def words(self, finding: Explained, now: Instant) -> Words:
        """How far apart they are."""
        return Words(f"{self.name}: {finding.why}", past=f"{self.name} probe had drifted")


ALARM = Alarm(
    record=RECORD,
    conditions=lambda site: [
        ProbeDrifted(site, site.trackers.probes[vessel.id])
        for vessel in measured_vessels(site.plan)
    ],
)
