"""Tank nearing overflow: by its height, and by the minutes that are left to the brim."""

import math
from collections.abc import Iterator
from dataclasses import dataclass, replace

from brineward.alarms.condition import (
    CLEAR,
    Alarm,
    Condition,
    Finding,
    Site,
    Verdict,
    Words,
    blind_without_hopper,
    covered_by_one,
)
from brineward.alarms.record import AlarmRecord, Coverage
from brineward.plant.buoyancy import containment_of, standing_in_containment
from brineward.plant.course import Course
from brineward.plant.levels import LevelTracker
from brineward.plant.plan import DepotPlan, Measure, Vessel, VesselKind
from brineward.plant.slow_levels import accuracy_m
from brineward.readings.instants import SECOND, Instant
from brineward.readings.outputs import Priority
from brineward.wording.operator_units import duration

FORECAST_SECONDS = 300.0
"""An overflow nearer than this is raised even before the height says so."""

SPAN_SECONDS = 60.0
"""The height is the median of so many seconds' readings: a wave or a wild reading is no height."""

CONFIDENCE = 4.5
"""By how many standard uncertainties of that median the limit must be passed.

A tank may stand for days right where a healthy float leaves it. With a new median a minute, 4.5
is a false alarm in two hundred days of that.
"""

MEDIAN_LOSS = 1.2533
"""The median of normal readings is this much less certain than their mean (sqrt(pi / 2))."""

FASTER = 1.5
"""A level that rises this many times as fast as the fill can is filled by something else."""


RECORD = AlarmRecord(
    id="overflow-ahead",
    title="TANK NEAR OVERFLOW",
    place=20,
    priority=Priority.HIGH,
    danger="overflow",
    cause="The float did not shut the fill, a pump fills the tank with nobody there, or the "
    "hopper's way into the tank is blocked while its water runs on.",
    consequence="Brine, or the hopper's water, spills at the brim into the containment, then "
    "wherever that leads.",
    response="If a pump fills this tank, stop the pump at the panel first: a valve shut on a "
    "running pump is the other danger. Then shut the tank's supply by its hand valve, from outside "
    "the containment. Find out why the float did not. Do not climb on or into a tank.",
    text_response="Fill pump off (PANEL), THEN shut water. Stay off.",
    text_afterwards="Check the containment from outside.",
    respond_within="until the brim, as the text says",
    on_delay_seconds=15.0,
    off_delay_seconds=120.0,
    limit_quantity="length",
    limit_unit="m",
    deadband=0.02,
    basis="Fill mark and run-on of the tank as declared ({0.05 m} under the brim where nothing "
    "fills it by itself), passed by more than the level's own noise; five minutes' forecast to the "
    "brim.",
)


@dataclass(frozen=True, slots=True, kw_only=True)
class Overflow(Finding):
    """A level that is too high, or soon at the brim."""

    seconds_to_brim: float | None = None
    """None while it doesn't rise."""


class OverflowAhead(Condition[Overflow]):
    """The level is above what a healthy float allows, or will be at the brim within minutes.

    The float's run-on after the fill mark is allowed for: the height limit is the mark plus the
    run-on, or a set limit. Below the mark a rising level is a fill; between the mark and the limit
    the forecast counts only where the level rises faster than the fill can make it, since the
    float stops no pump.
    """

    def __init__(self, site: Site, level: LevelTracker) -> None:
        self._vessel = level.vessel
        self._level = level
        self._limit_m = site.limit(RECORD, height_limit_m(level.vessel))
        self._deadband_m = site.deadband(RECORD)
        around = containment_of(site.plan)
        stands = level.vessel in standing_in_containment(site.plan)
        self._runs_into = around.id if around is not None and stands else ""
        """Where it spills to; empty where nobody knows."""
        super().__init__(
            site,
            level.vessel.id,
            Overflow,
            judged_after=(level.sensor,),
            limit=self._limit_m,
            unit="m",
            side=1,
        )

    def judge(self, now: Instant, active: bool) -> Verdict:
        """Too high, or too soon at the brim?"""
        sensor, course = self._level.sensor, self._level.course
        if sensor.value is None or course.level is None:
            return Verdict.unknown("no level yet", sensor.plan.id)
        if sensor.implausible:
            return Verdict.unknown(
                f"{self.units.name_of(sensor.plan.id)} is implausible", sensor.plan.id
            )
        limit = self._limit_m
        if not active and not _rises(course) and course.middle(SPAN_SECONDS)[0] <= limit:
            return CLEAR
        level, sure = self._middle(SPAN_SECONDS)
        high = level > limit - self._deadband_m if active else level > limit + sure
        # While it rises the median lags; the forecast starts from the line's end.
        end = level if course.slope is None else course.level or level
        if not high and not self._unusual():
            return CLEAR
        seconds = self._seconds_to_brim(end)
        if not high and (seconds is None or seconds >= FORECAST_SECONDS):
            return CLEAR
        left = None if seconds is None else round(seconds, 0)
        finding = Overflow(
            value=round(level, 4), limit=round(limit, 4), unit="m", seconds_to_brim=left
        )
        return Verdict(True, self._weighed(finding, now))

    def _weighed(self, finding: Overflow, now: Instant) -> Overflow:
        """The finding with its harm: that it has come, or when it will."""
        left = finding.seconds_to_brim
        if self._at_brim(finding):
            return replace(finding, names=("at its brim",))
        return finding if left is None else replace(finding, harm_soon_at=_after(now, left))

    def _at_brim(self, finding: Overflow) -> bool:
        seconds = finding.seconds_to_brim
        # Within its sensor's accuracy of the brim it may be spilling.
        full = (finding.value or 0.0) >= self._vessel.brim_m - accuracy_m(self._level)
        return full or (seconds is not None and seconds < 1)

    def _middle(self, span_seconds: float) -> tuple[float, float]:
        """The median of the span, of three readings at least, and how far it may be off."""
        level, readings = self._level.course.middle(span_seconds)
        variance = self._level.course.noise.variance
        return level, CONFIDENCE * MEDIAN_LOSS * math.sqrt(variance / readings)

    def _unusual(self) -> bool:
        """Is it no healthy fill that rises?

        A hopper rises to its outlet with every fill, and jumps with every bucket of salt: only its
        height counts.
        """
        if self._vessel.kind is VesselKind.HOPPER:
            return False
        mark = self._vessel.fill_mark_m
        if mark is None:
            return True
        level, sure = self._middle(0.0)
        if level <= mark + sure:
            return False
        course, fill = self._level.course, self._level.fill_m_per_s
        if fill is None or course.slope is None:
            return True
        return course.slope - 3 * course.slope_uncertainty > FASTER * fill

    def _seconds_to_brim(self, level: float) -> float | None:
        course, shape = self._level.course, self._vessel.shape
        slope = course.slope
        if slope is None or not _rises(course):
            return None
        room = shape.volume_m3(self._vessel.brim_m) - shape.volume_m3(level)
        inflow = slope * shape.area_m2(level)
        return max(0.0, room / inflow) if inflow > 0 else None

    def words(self, finding: Overflow, now: Instant) -> Words:
        """The height against its limit, and the time to the brim or where it spills to."""
        level = finding.value or 0.0
        seconds, at_brim = finding.seconds_to_brim, self._at_brim(finding)
        how_bad = self.units.against(
            self.units.level(level), self.units.level(finding.limit or 0.0)
        )
        return Words(
            f"{self.name} {'at its brim' if at_brim else 'near overflow'}",
            how_bad,
            self._spills(seconds, at_brim=at_brim),
            past=f"{self.name} was {'at its brim' if at_brim else 'near overflow'}",
        )

    def _spills(self, seconds: float | None, *, at_brim: bool) -> str:
        if not at_brim:
            return "" if seconds is None else f"spills in {duration(seconds)}"
        return f"runs into {self.units.name_of(self._runs_into)}" if self._runs_into else ""


def _after(now: Instant, seconds: float) -> Instant:
    return now + round(seconds * SECOND)


def _rises(course: Course) -> bool:
    """Does it for sure?"""
    return course.slope is not None and course.slope > 2 * course.slope_uncertainty


def height_limit_m(vessel: Vessel) -> float:
    """The height above which a healthy float would not have let it come, in m.

    Where nothing fills the vessel by itself: five centimetres under its brim.
    """
    if vessel.fill_mark_m is None:
        return vessel.brim_m - 0.05
    return min(vessel.fill_mark_m + vessel.run_on_m, vessel.brim_m - 0.02)


def _runs_over(vessel: Vessel) -> bool:
    """Is it filled by what is meant for it? What is in the containment isn't."""
    return vessel.kind is not VesselKind.CONTAINMENT


def _coverage(plan: DepotPlan) -> Iterator[Coverage]:
    yield from blind_without_hopper(RECORD, plan, "a level in it")
    for vessel in filter(_runs_over, plan.vessels.values()):
        helps = f"a level in {vessel.id}"
        yield covered_by_one(RECORD, plan, Measure.LEVEL, vessel.id, helps)


ALARM = Alarm(
    record=RECORD,
    conditions=lambda site: [
        OverflowAhead(site, level)
        for level in site.trackers.levels.values()
        if _runs_over(level.vessel)
    ],
    coverage=_coverage,
)
