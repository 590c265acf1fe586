"""Tank or pipe leaks: its level falls while nothing runs, temperature allowed for."""

from abc import abstractmethod
from collections.abc import Callable, Iterator, Sequence
from dataclasses import dataclass, replace
from functools import partial
from typing import Any, ClassVar, TypeVar

from brineward.alarms.condition import CLEAR, Alarm, Condition, Finding, Site, Verdict, Words
from brineward.alarms.record import AlarmRecord, Coverage
from brineward.plant.fast_fall import FastFall
from brineward.plant.loss_test import LossTest, smallest_found_m_per_h
from brineward.plant.plan import DepotPlan, Measure, Vessel, VesselKind
from brineward.plant.salt_at_rest import SaltAtRest, rest_is_known, smallest_by_salt_m3_per_h
from brineward.plant.sensors import SensorTracker
from brineward.plant.standing import WAIT, StandingTracker, band_m, block_length, random_m
from brineward.plant.water_at_rest import (
    WaterAtRest,
    smallest_by_water_m3_per_h,
    takes_water,
    water_meters,
)
from brineward.readings.instants import HOUR, SECOND, Instant
from brineward.readings.modes import Mode
from brineward.readings.outputs import Priority
from brineward.wording.operator_units import duration, loss_rate

EMPTY_SOON_HOURS = 12.0
"""What would be empty sooner than this can't wait for the morning."""

LIKE_PUMP = (0.6, 1.2)
"""Of a pump's own flow: a tank that empties by so much may be emptied by it, less what a float lets
in meanwhile (common practice, no source)."""
LIKE_PUMP_RESPONSE = "See from outside if it runs. Pump off (PANEL), THEN shut valve if way is dry."

TOLD_WITHIN_HOURS = (12, 120)
"""The times for which `brineward check` gives the smallest leak that is found."""
TOLD_BY_SALT_HOURS = (72, 240)
"""The same for a leak that a float tops up, so that only the salt shows it,"""
TOLD_BY_WATER_HOURS = (12, 48)
"""or the meter in the water line too."""

RECORD = AlarmRecord(
    id="tank-leak",
    title="TANK OR PIPE LEAKS",
    place=28,
    priority=Priority.MEDIUM,
    danger="tank leak",
    cause="A fitting weeps, a wall or a seam has cracked, a valve behind the tank does not close, "
    "or the pipe to the pump leaks.",
    consequence="Brine runs into the containment, or into the ground and the ditch; salt and water "
    "are lost, and there is none for the next storm.",
    response="See from outside whether the containment is wet, and the ground along the pipe and "
    "the hose. Shut the pump off at the panel first, then shut the tank's outlet valve if it can "
    "be reached dry. Do not go into the containment or the tank. Call whoever repairs it, and "
    "whoever must hear of a spill where you are.",
    text_response="Look from outside. Pump off, THEN shut tank valve if the way is dry.",
    text_afterwards="A float that tops it up can hide a leak: see that the ground is dry.",
    respond_within="the day",
    respond_seconds=24 * 3600.0,
    on_delay_seconds=60.0,
    off_delay_seconds=60.0,
    basis="Page's sequential test (Biometrika 41, 1954; begun anew, Wald's of 1945) of what the "
    "level of a standing tank loses: pumps off, nothing rising for half an hour. The brine's "
    "expansion is taken out and allowed for as doubt once more, and half a percent of a fill's "
    "rise for walls that give way. A fifth of a millimetre an hour is taken as no leak; the rest "
    "must add up to more than the sensor's whole accuracy from end to end, six standard "
    "uncertainties of its noise and two millimetres of settling. It has stopped when as much is "
    "against half the rate. A level that falls in six minutes running, about as far in each, by "
    "more than the sensor's whole accuracy needs no such wait. While a float tops the tank up a "
    "leak does not show in its level: the salt of the water that tops it up does, and that water "
    "itself if a meter counts it. A bed that goes down in hours with no load and no fill is "
    "weighed in the same way, against its rod's whole accuracy and {0.02 m}; so is water that "
    "comes in and raises no level, against all levels' accuracies. From that water are taken the "
    "meter's accuracy at zero, 5 % of what it counts (OIML R 49-1, class 2 at low flow), 2 % for "
    "the vessels' shapes, and what salt that dissolves gives up of its own volume.",
    suppressed_by=("depot-silent", "link-lost", "containment-wet"),
    quiet_in=(Mode.DRAINING, Mode.LAID_UP, Mode.FILLING_UP),
)


@dataclass(frozen=True, slots=True, kw_only=True)
class Leak(Finding):
    """A tank that loses `value` m3/h while it stands."""

    began: Instant
    fell_m: float
    """How far its level fell by that."""
    lost_m3: float
    stood_hours: float
    """For how long it was seen standing since."""
    like_pump: str = ""
    """The pump that would empty it about as fast, though it is said to be stopped."""


@dataclass(frozen=True, slots=True, kw_only=True)
class Hidden(Finding):
    """About `value` m3/h are lost, though a float tops the tank up."""

    began: Instant
    stood_hours: float
    """In how many hours with nothing running that was seen."""


@dataclass(frozen=True, slots=True, kw_only=True)
class SaltLost(Hidden):
    """By the salt that goes with it."""

    fell_m: float
    """How far the bed went down by that."""


@dataclass(frozen=True, slots=True, kw_only=True)
class WaterLost(Hidden):
    """By the water that comes in and shows nowhere."""

    lost_m3: float
    """How much of the water showed nowhere by that."""


H = TypeVar("H", bound=Hidden)


class HiddenLeak(Condition[H]):
    """A leak that a float tops up: by what is used though nothing is loaded."""

    used: ClassVar[str]
    """What is used."""

    def __init__(
        self,
        site: Site,
        source: str,
        finding: type[H],
        *,
        test: LossTest,
        judged_after: Sequence[SensorTracker],
    ) -> None:
        self._test = test
        super().__init__(site, source, finding, judged_after=judged_after, unit="m3/h")

    def at_rest(self) -> bool:
        """It has lost nothing that counts."""
        return not self._test.losing

    def judge(self, now: Instant, active: bool) -> Verdict:
        """What does the test say?"""
        return Verdict(True, self._finding()) if self._test.losing else CLEAR

    @abstractmethod
    def _finding(self) -> H:
        """How much is lost, and by what that is known."""

    def without(self, silent: SensorTracker) -> Verdict | None:
        """The tank's level still watches for it: nobody need be told."""
        return Verdict.not_now(f"{self.units.name_of(silent.plan.id)} is silent")

    def words(self, finding: H, now: Instant) -> Words:
        """How much that is, and by what it is known."""
        return Words(
            "tank or pipe leaks",
            f"about {self.units.measured(finding.value or 0.0, 'm3/h')} by {self.used} used",
            detail=self._detail(finding, duration(finding.stood_hours * 3600)),
            past="tank or pipe leaked",
            since=finding.began,
        )

    @abstractmethod
    def _detail(self, finding: H, stood: str) -> str:
        """What was seen, in how long."""


class WaterGoes(HiddenLeak[WaterLost]):
    """Water comes in though nothing is loaded, and no level rises by it: it goes elsewhere."""

    used = "water"

    def __init__(self, site: Site, resting: WaterAtRest) -> None:
        self._resting = resting
        meters = resting.meters
        # The hopper is its salt's source: this one's is the meter.
        super().__init__(site, meters[0].plan.id, WaterLost, test=resting.test, judged_after=meters)

    def _finding(self) -> WaterLost:
        return WaterLost(
            value=round(self._resting.rate_m3_per_h, 6),
            unit="m3/h",
            began=self._test.since,
            lost_m3=round(self._resting.gone_m3, 4),
            stood_hours=round(self._test.stood_hours, 2),
        )

    def _detail(self, finding: WaterLost, stood: str) -> str:
        return (
            f"of what {self.name} let in, {self.units.volume(finding.lost_m3)} in {stood} raised "
            "no level, with nothing running: a float tops up a leak, something runs over, or a "
            "drain is open"
        )


class SaltGoes(HiddenLeak[SaltLost]):
    """A bed goes down though nothing is loaded: what is topped up goes elsewhere."""

    used = "salt"

    def __init__(self, site: Site, resting: SaltAtRest) -> None:
        self._resting = resting
        self._waters = site.trackers.waters_at_rest
        salt = resting.salt
        super().__init__(
            site, salt.vessel.id, SaltLost, test=resting.test, judged_after=(salt.sensor,)
        )

    def judge(self, now: Instant, active: bool) -> Verdict:
        """What does the test say, of what the water has not said before?"""
        if not active and any(one.test.losing for one in self._waters):
            return CLEAR  # of the same leak people know already, days before the salt shows it
        return super().judge(now, active)

    def _finding(self) -> SaltLost:
        return SaltLost(
            value=round(self._resting.rate_m3_per_h, 6),
            unit="m3/h",
            began=self._test.since,
            fell_m=round(self._test.fell_m, 4),
            stood_hours=round(self._test.stood_hours, 2),
        )

    def _detail(self, finding: SaltLost, stood: str) -> str:
        return (
            f"{self.name} salt fell {self.units.fall(finding.fell_m)} in {stood} with no load: the "
            "float tops the tank up with it"
        )


class TankLeak(Condition[Leak]):
    """It loses more than a standing tank can seem to by its sensor and its temperature."""

    def __init__(self, site: Site, standing: StandingTracker, fast: FastFall) -> None:
        self._standing, self._fast = standing, fast
        pumps = site.plan.pumps.values()
        self._pumps = [one for one in pumps if one.draws_from == standing.vessel.id]
        level = standing.level.sensor
        super().__init__(site, standing.vessel.id, Leak, judged_after=(level,), unit="m3/h")

    def at_rest(self) -> bool:
        """It has lost nothing that counts, by a level that is to be believed."""
        standing = self._standing
        losing = standing.test.losing or self._fast.losing
        return not (losing or standing.level.sensor.implausible)

    def judge(self, now: Instant, active: bool) -> Verdict:
        """What does the test say?"""
        test, level = self._standing.test, self._standing.level
        if level.sensor.implausible:
            return Verdict.unknown(
                f"{self.units.name_of(level.sensor.plan.id)} is implausible", level.sensor.plan.id
            )
        if not (test.losing or self._fast.losing):
            return CLEAR
        finding = self._slow() if test.losing and not self._fast.losing else self._quick()
        rate = finding.value or 0.0
        height = level.course.level
        left = 0.0 if height is None else self._standing.vessel.shape.volume_m3(height)
        finding = replace(finding, like_pump=self._like_pump(rate))
        if rate * EMPTY_SOON_HOURS > left:
            empty_at = now + round(left / rate * HOUR)
            finding = replace(finding, priority=Priority.HIGH, harm_soon_at=empty_at)
        return Verdict(True, finding)

    def _slow(self) -> Leak:
        test = self._standing.test
        return Leak(
            value=round(test.rate_m3_per_h, 6),
            unit="m3/h",
            began=test.since,
            fell_m=round(test.fell_m, 4),
            lost_m3=round(test.lost_m3, 4),
            stood_hours=round(test.stood_hours, 2),
        )

    def _quick(self) -> Leak:
        fast = self._fast
        return Leak(
            value=round(fast.rate_m3_per_h, 6),
            unit="m3/h",
            began=fast.since,
            fell_m=round(fast.fell_m, 4),
            lost_m3=round(fast.lost_m3, 4),
            stood_hours=round(fast.hours, 4),
        )

    def _like_pump(self, m3_per_h: float) -> str:
        """The pump that draws from it and would empty it about as fast."""
        least, most = LIKE_PUMP
        for pump in self._pumps:
            if least <= m3_per_h / HOUR * SECOND / pump.flow_m3_per_s <= most:
                return pump.id
        return ""

    def words(self, finding: Leak, now: Instant) -> Words:
        """How fast, how much in all, and by what that is known."""
        stood = duration(finding.stood_hours * 3600)
        rate = self.units.measured(finding.value or 0.0, "m3/h")
        if finding.like_pump:
            pump = self.units.name_of(finding.like_pump)
            return Words(
                f"{self.name} empties as if its pump ran",
                rate,
                detail=f"{self.units.volume(finding.lost_m3)} lost, level fell "
                f"{self.units.fall(finding.fell_m)} in {stood}: does {pump} run though its switch "
                "says that it is stopped, is its hose valve open, or does the tank leak?",
                past=f"{self.name} emptied as if its pump ran",
                since=finding.began,
                response=LIKE_PUMP_RESPONSE,
            )
        return Words(
            f"{self.name} or pipe leaks",
            f"{rate}, {self.units.volume(finding.lost_m3)} lost in {stood}",
            detail=f"level fell {self.units.fall(finding.fell_m)} in {stood} with nothing running, "
            "temperature allowed for",
            past=f"{self.name} or pipe leaked",
            since=finding.began,
        )


def smallest_leak_m3_per_h(plan: DepotPlan, vessel: Vessel, within_hours: float) -> float | None:
    """The slowest leak that is found in a vessel at rest for this long, m3/h, at half its brim.

    From its level's accuracy and interval and its surface. None where it has no level.
    """
    level = plan.sensor_of(Measure.LEVEL, vessel.id)
    if level is None:
        return None
    limit = band_m(level) + random_m(level, level.standard_uncertainty, 1)
    area = vessel.shape.area_m2(vessel.brim_m / 2)
    # The first and last block of a stretch show nothing yet.
    unseen = (WAIT + 2 * block_length(level)) / HOUR
    return smallest_found_m_per_h(limit, within_hours - unseen) * area


def _drawn_unseen(plan: DepotPlan, vessel: Vessel) -> tuple[str, ...]:
    """The pumps that draw from it with no switch that says so."""
    return tuple(
        pump.id
        for pump in plan.pumps.values()
        if pump.draws_from == vessel.id and plan.sensor_of(Measure.RUNNING, pump.id) is None
    )


def _shows_what_a_float_hides(plan: DepotPlan, vessel: Vessel) -> str:
    """What must be there for the water line to show a leak that a float tops up; empty: all is."""
    if not water_meters(plan):
        hoppers = [one.id for one in takes_water(plan) if one.kind is VesselKind.HOPPER]
        at = hoppers[0] if hoppers else vessel.id
        return (
            f'a meter in its water line (at = "{at}"), or its water shut off when nobody loads: a '
            "float that tops up hides a leak"
        )
    for one in takes_water(plan):
        if plan.sensor_of(Measure.LEVEL, one.id) is None:
            return f"a level in {one.id}: its water line's meter shows a leak only with it"
    return "" if rest_is_known(plan) else "a running switch on each pump"


def _coverage(plan: DepotPlan) -> Iterator[Coverage]:
    salt = tuple(one.id for one in plan.sensors.values() if one.measures is Measure.SALT_LEVEL)
    water = tuple(one.id for one in water_meters(plan))
    for vessel in plan.vessels.values():
        if not vessel.holds_brine:
            continue
        level = plan.sensor_of(Measure.LEVEL, vessel.id)
        if level is None:
            yield Coverage(RECORD.id, vessel.id, "blind", (), f"a level in {vessel.id}")
            continue
        thermometer = plan.sensor_of(Measure.TEMPERATURE, vessel.id)
        switches = (plan.sensor_of(Measure.RUNNING, pump) for pump in plan.pumps)
        by = tuple(one.id for one in (level, thermometer, *switches) if one is not None)
        by += salt + water
        helps = ""
        if _drawn_unseen(plan, vessel):
            helps = "a running switch on each pump"
        elif thermometer is None:
            helps = f"a temperature in {vessel.id}"
        elif vessel.fill_mark_m is not None:
            helps = _shows_what_a_float_hides(plan, vessel)
        yield Coverage(RECORD.id, vessel.id, "indirect" if helps else "covered", by, helps)


def _remarks(plan: DepotPlan) -> Iterator[str]:
    for vessel in plan.vessels.values():
        if not vessel.holds_brine:
            continue
        found = _smallest(plan, TOLD_WITHIN_HOURS, partial(smallest_leak_m3_per_h, plan, vessel))
        if found:
            (fast, soon), (slow, later) = found
            yield (
                f"{plan.name_of(vessel.id)}: while it stands with its temperature steady, "
                f"a leak of {fast} or more is found within {soon}, of {slow} within {later}."
            )
    if found := _smallest(plan, TOLD_BY_WATER_HOURS, partial(smallest_by_water_m3_per_h, plan)):
        (fast, soon), (slow, later) = found
        yield (
            f"{plan.name_of(water_meters(plan)[0].id)}: a leak that a float tops up shows in the "
            f"water used: {fast} or more within {soon} in which nobody loads, {slow} within "
            f"{later}."
        )
    only = "" if found else "only "
    for hopper in plan.vessels.values():
        by_salt = partial(smallest_by_salt_m3_per_h, plan, hopper)
        if found := _smallest(plan, TOLD_BY_SALT_HOURS, by_salt):
            (fast, soon), (slow, later) = found
            yield (
                f"{plan.name_of(hopper.id)}: a leak that a float tops up shows {only}in the salt: "
                f"{fast} or more within {soon} in which nobody loads, {slow} within {later}."
            )


def _smallest(
    plan: DepotPlan, within: Sequence[int], smallest: Callable[[float], float | None]
) -> list[tuple[str, str]]:
    """The smallest leak that is found within each of these hours, both as they are printed."""
    return [
        (loss_rate(leak, plan.us_units), f"{hours // 24} days" if hours > 48 else f"{hours} h")
        for hours in within
        if (leak := smallest(hours)) is not None
    ]


def _conditions(site: Site) -> Iterator[Condition[Any]]:
    fast = site.trackers.fast_falls
    yield from (TankLeak(site, one, fast[name]) for name, one in site.trackers.standing.items())
    yield from (SaltGoes(site, one) for one in site.trackers.salts_at_rest)
    yield from (WaterGoes(site, one) for one in site.trackers.waters_at_rest)


ALARM = Alarm(
    record=RECORD,
    conditions=_conditions,
    coverage=_coverage,
    remarks=_remarks,
)
