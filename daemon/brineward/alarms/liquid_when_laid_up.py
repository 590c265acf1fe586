"""Liquid when laid up: a vessel that should be drained holds some."""

from collections.abc import Iterator

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
from brineward.plant.buoyancy import containment_of
from brineward.plant.drained import drained_below_m
from brineward.plant.levels import LevelTracker
from brineward.plant.plan import DepotPlan, Measure, VesselKind
from brineward.plant.sensors import SensorTracker
from brineward.readings.instants import HOUR, Instant
from brineward.readings.modes import Mode
from brineward.readings.outputs import Priority

_LAID_UP = Mode.LAID_UP  # an enum's member is slow to look up, and every level asks
SPAN_SECONDS = 180.0
"""The level is the median of so many seconds' readings: a wild one is no liquid."""

RECORD = AlarmRecord(
    id="liquid-when-laid-up",
    title="LIQUID WHEN LAID UP",
    place=68,
    priority=Priority.LOW,
    danger="liquid while laid up",
    cause="Rain or snow melt in the containment, a vessel that was not drained, a water valve that "
    "leaks or was left open, or a drain that is shut or plugged.",
    consequence="Liquid in the containment lifts empty tanks and bends their pipes; what stays in "
    "a tank freezes in winter and grows foul in summer.",
    response="Look from outside. Empty the containment first, then the tanks, and leave the "
    "outlets open. Find where it comes from: shut the water at its supply. Stay off the tanks and "
    "out of the containment: an empty tank may float.",
    text_response="Water off. Empty containment from its edge, then tanks. Stay out.",
    respond_within="the next working day",
    on_delay_seconds=600.0,
    off_delay_seconds=600.0,
    limit_quantity="length",
    limit_unit="m",
    deadband=0.01,
    basis="More than {0.1 m} in a tank or the hopper, what lies under an outlet; {0.05 m} in the "
    "containment, since {0.056 m} of brine lifts an empty tank of {2.4 m} and 300 kg (computed). "
    "From an hour after the depot was laid up, so that the last of it can run out. Both lengths of "
    "time are common practice, no source.",
    suppressed_by=("depot-silent", "link-lost"),
)


class LiquidWhenLaidUp(Condition[Finding]):
    """The depot is laid up for an hour, and one vessel shows more than a drained one does."""

    def __init__(self, site: Site, level: LevelTracker) -> None:
        self._level = level
        self._mode = site.trackers.mode
        self._limit_m = site.limit(RECORD, drained_below_m(level.vessel))
        self._deadband_m = site.deadband(RECORD)
        super().__init__(
            site,
            level.vessel.id,
            Finding,
            judged_after=(level.sensor, self._mode),
            limit=self._limit_m,
            unit="m",
        )

    def at_rest(self) -> bool:
        """It is not laid up, and was not."""
        return self._mode.mode is not _LAID_UP

    def judge(self, now: Instant, active: bool) -> Verdict:
        """Is there liquid, where there should be none?"""
        if self._mode.mode is not Mode.LAID_UP or now - self._mode.since < HOUR:
            return CLEAR
        sensor, course = self._level.sensor, self._level.course
        if sensor.believed(now) is None or course.level is None:
            name = self.units.name_of(sensor.plan.id)
            return Verdict.unknown(f"{name} is silent or implausible", sensor.plan.id)
        level = course.middle(SPAN_SECONDS)[0]
        limit = self._limit_m - (self._deadband_m if active else 0.0)
        finding = Finding(value=round(level, 4), limit=self._limit_m, unit="m")
        return Verdict.active_if(level > limit, finding)

    def without(self, silent: SensorTracker) -> Verdict | None:
        """In service nobody asks whether there is liquid, and its silence blinds nothing of it."""
        return super().without(silent) if self._mode.mode is _LAID_UP else None

    def words(self, finding: Finding, now: Instant) -> Words:
        """Which vessel, and how deep."""
        depth = self.units.level(finding.value or 0.0)
        past = f"liquid was in the {self.name} while laid up"
        return Words(f"laid up, but liquid in the {self.name}", f"{depth} deep", past=past)


def _coverage(plan: DepotPlan) -> Iterator[Coverage]:
    if containment_of(plan) is None:
        helps = "the containment in the config, and a level in it"
        yield Coverage(RECORD.id, VesselKind.CONTAINMENT.value, "blind", (), helps)
    yield from blind_without_hopper(RECORD, plan, "a level in it")
    for vessel in plan.vessels.values():
        helps = f"a level in {vessel.id}"
        yield covered_by_one(RECORD, plan, Measure.LEVEL, vessel.id, helps)


ALARM = Alarm(
    record=RECORD,
    conditions=lambda site: [
        LiquidWhenLaidUp(site, level) for level in site.trackers.levels.values()
    ],
    coverage=_coverage,
)
