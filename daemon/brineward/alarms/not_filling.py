"""Tank not filling: it stays below its mark though its float should let water in."""

from collections.abc import Iterator
from dataclasses import dataclass

from brineward.alarms.condition import (
    CLEAR,
    Alarm,
    Condition,
    Finding,
    Site,
    Verdict,
    Words,
    covered_by_one,
)
from brineward.alarms.record import AlarmRecord, Coverage
from brineward.plant.fill_wanted import RISES_M, FillWanted
from brineward.plant.mode import ModeTracker
from brineward.plant.plan import DepotPlan, Measure, Vessel
from brineward.readings.instants import SECOND, Instant
from brineward.readings.modes import Mode
from brineward.readings.outputs import Priority

BEGINS_WITHIN_SECONDS = 900.0
"""A float that is low lets water in at once; the hopper must rise to its weir first (common
practice, no source)."""

SLOWEST = 4.0
"""A fill may take this many times as long as at its declared flow: a clogged strainer, low
mains, other taps (common practice, no source)."""

RECORD = AlarmRecord(
    id="not-filling",
    title="TANK NOT FILLING",
    place=45,
    priority=Priority.LOW,
    danger="no fill",
    cause="The water is shut off or frozen, the float is stuck shut, or a strainer is clogged.",
    consequence="Each load takes from what is left: there may be no brine for the storm.",
    response="Check the water supply and its valve, and that the water line is not frozen. Look at "
    "the float from outside the tank; do not climb on or lean into the tank. Where the water was "
    "shut off on purpose, set the depot's mode or single batch.",
    text_response="Check water, float, ice in the line (no flame). Stay off tank.",
    respond_within="before the next storm",
    on_delay_seconds=1800.0,
    off_delay_seconds=60.0,
    basis="{0.1 m} and more below the fill mark, pump off, without a rise of {0.02 m} in a quarter "
    "of an hour, or in four times what that takes at the fill's declared flow; then half an hour's "
    "delay. Medium in a storm watch, and with under a quarter of the tank left.",
    suppressed_by=("depot-silent", "link-lost", "tank-leak"),
    quiet_in=(Mode.FILLING_UP, Mode.DRAINING, Mode.LAID_UP),
)

LITTLE_SHARE = 0.25


@dataclass(frozen=True, slots=True, kw_only=True)
class NotFilling(Finding):
    """A level, of a `limit` at which its float should let water in."""

    began: Instant
    left_m3: float


class TankNotFilling(Condition[NotFilling]):
    """It is far enough below its mark for its float to let water in, and doesn't rise."""

    def __init__(self, site: Site, wanted: FillWanted) -> None:
        self._wanted, self._vessel = wanted, wanted.level.vessel
        self._mode: ModeTracker = site.trackers.mode
        self._begins = round(begins_within_seconds(site.plan, self._vessel) * SECOND)
        super().__init__(
            site,
            self._vessel.id,
            NotFilling,
            judged_after=(wanted.level.sensor, self._mode),
            limit=wanted.mark_m,
            unit="m",
        )

    def at_rest(self) -> bool:
        """It is not wanted, or it comes."""
        return self._wanted.since == 0

    def judge(self, now: Instant, active: bool) -> Verdict:
        """Is it wanted for longer than it takes to come?"""
        level, since = self._wanted.level, self._wanted.since
        if level.sensor.believed(now) is None:
            return Verdict.unknown("no level that can be believed", level.sensor.plan.id)
        # Once told, a rise clears it; until then it has the time that a fill takes to begin.
        if since == 0 or self._mode.single_batch or now - since < self._begins:
            return CLEAR
        height = level.course.level or 0.0
        shape = self._vessel.shape
        left = shape.volume_m3(height)
        little = left < LITTLE_SHARE * shape.volume_m3(self._vessel.brim_m)
        grave = little or self._mode.mode is Mode.STORM_WATCH
        finding = NotFilling(
            value=round(height, 4),
            limit=self._wanted.mark_m,
            unit="m",
            began=since,
            left_m3=round(left, 3),
            priority=Priority.MEDIUM if grave else None,
        )
        return Verdict(True, finding)

    def next_look(self, now: Instant) -> Instant | None:
        """When a fill should have begun."""
        due = self._wanted.since + self._begins
        return due if self._wanted.since and due > now else None

    def words(self, finding: NotFilling, now: Instant) -> Words:
        """The level against its mark, and what is left."""
        value, mark = (self.units.level(one or 0.0) for one in (finding.value, finding.limit))
        left = self.units.volume(finding.left_m3)
        return Words(
            f"{self.name} not filling",
            f"{value} (mark {mark}), {left} left",
            past=f"{self.name} was not filling",
            since=finding.began,
        )


def begins_within_seconds(plan: DepotPlan, vessel: Vessel) -> float:
    """How soon a healthy fill shows in the level, with room for a slow one."""
    flow = sum(fill.flow_m3_per_s for fill in plan.fills if fill.into == vessel.id)
    rise_m3 = RISES_M * vessel.shape.area_m2(vessel.brim_m / 2)
    return max(BEGINS_WITHIN_SECONDS, SLOWEST * rise_m3 / flow)


def _coverage(plan: DepotPlan) -> Iterator[Coverage]:
    filled = {fill.into for fill in plan.fills}
    for vessel in plan.vessels.values():
        if not vessel.holds_brine or vessel.fill_mark_m is None or vessel.id not in filled:
            continue
        helps = f"a level in {vessel.id}"
        yield covered_by_one(RECORD, plan, Measure.LEVEL, vessel.id, helps)


ALARM = Alarm(
    record=RECORD,
    conditions=lambda site: [TankNotFilling(site, one) for one in site.trackers.fills_wanted],
    coverage=_coverage,
)
