"""Batch untested: brine was made, and nobody has tested it by hand for as long as they may."""

from collections.abc import Iterator
from dataclasses import dataclass

from brineward.alarms.condition import CLEAR, Alarm, Condition, Finding, Site, Verdict, Words
from brineward.alarms.record import AlarmRecord
from brineward.plant.batch_tests import BatchTests, Wanted
from brineward.plant.sensors import SensorTracker
from brineward.readings.instants import SECOND, Instant
from brineward.readings.modes import Mode
from brineward.readings.outputs import Priority

RECORD = AlarmRecord(
    id="batch-untested",
    title="BATCH UNTESTED",
    place=67,
    priority=Priority.LOW,
    cause="A batch was made, and no hydrometer test of it was recorded.",
    consequence="Its strength is known by the probe alone, which a film or a drift puts off by "
    "percents; what is loaded from it may freeze or be wasted.",
    response="Test the tank by hydrometer, with the sample's temperature, and record it: "
    "'brineward calibrate'. Take the sample from a sample cock or the hose, from outside; nobody "
    "leans in or climbs in. Where it is good, record the batch as accepted.",
    text_response="Test by hydrometer, with the sample's temperature, and record it.",
    respond_within="the next working day",
    on_delay_seconds=60.0,
    off_delay_seconds=60.0,
    basis="What was made since the last test comes to half of what the tank holds when full, and "
    "the depot's `test_batches_within` has passed since (3 days where none is set). At once where "
    "a tenth of it was made from a hopper that was filled again after it fell under half: blend "
    "settings that suited the old bed may not suit the new one. All three are common practice, no "
    "source. It is asked once, until a test is recorded.",
    routine=True,
    suppressed_by=("salt-half", "probe-drifted", "strengths-disagree", "depot-silent", "link-lost"),
    quiet_in=(Mode.DRAINING, Mode.LAID_UP),
)


@dataclass(frozen=True, slots=True, kw_only=True)
class UntestedBatch(Finding):
    """How much was made since the last test, m3, and since when a test is wanted."""

    since: Instant
    first: bool
    """It is the first from a hopper that was filled again."""


class BatchIsUntested(Condition[UntestedBatch]):
    """A test is wanted, and the time for it is over."""

    def __init__(self, site: Site, tests: BatchTests) -> None:
        self._tests = tests
        self._within = round(site.plan.test_batches_within_seconds * SECOND)
        after = (tests.level.sensor, tests.probe)
        super().__init__(site, tests.vessel.id, UntestedBatch, judged_after=after, unit="m3")

    def at_rest(self) -> bool:
        """No batch is waiting for a test."""
        return not self._tests.pending

    def judge(self, now: Instant, active: bool) -> Verdict:
        """Is a test wanted, and overdue?"""
        wanted = self._tests.wanted()
        if wanted is None or now < self._due(wanted):
            return CLEAR
        finding = UntestedBatch(
            value=round(wanted.made_m3, 4), unit="m3", since=wanted.since, first=wanted.first
        )
        return Verdict(True, finding)

    def without(self, silent: SensorTracker) -> Verdict | None:
        """What was made stays made: it is judged all the same."""
        return None

    def next_look(self, now: Instant) -> Instant | None:
        """When the time for the test is over."""
        wanted = self._tests.wanted() if self._tests.pending else None
        if wanted is None or self._due(wanted) <= now:
            return None
        return self._due(wanted)

    def _due(self, wanted: Wanted) -> Instant:
        return wanted.since if wanted.first else wanted.since + self._within

    def words(self, finding: UntestedBatch, now: Instant) -> Words:
        """How much, and whether the hopper was filled before it."""
        made = f"{self.units.amount(finding.value or 0.0)} made since the last test"
        return Words(
            f"{self.name} batch not tested",
            "first since the hopper was filled" if finding.first else made,
            detail=made if finding.first else "",
            past=f"{self.name} batch was not tested",
            since=finding.since,
        )


def _conditions(site: Site) -> Iterator[BatchIsUntested]:
    for tests in site.trackers.batch_tests:
        yield BatchIsUntested(site, tests)


ALARM = Alarm(record=RECORD, conditions=_conditions)
