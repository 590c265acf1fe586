"""Water left on: one batch was wanted, and a tank refills after it was complete."""

from brineward.alarms.condition import CLEAR, Alarm, Condition, Finding, Site, Verdict, Words
from brineward.alarms.record import AlarmRecord
from brineward.plant.single_batch import SingleBatch
from brineward.readings.instants import Instant
from brineward.readings.outputs import Priority

RECORD = AlarmRecord(
    id="water-left-on",
    title="WATER LEFT ON",
    place=66,
    priority=Priority.LOW,
    cause="The water was not shut off after the batch, so what is drawn off is replaced by itself.",
    consequence="Brine is made that nobody wants, untested and weaker as the salt goes down; at "
    "the season's end it has to be got rid of.",
    response="Shut the water at its supply, from outside the containment; where a pump fills the "
    "tank, stop that at the panel first. Test the tank by hydrometer before the next load. If "
    "refills are wanted, set the mode again without a single batch.",
    text_response="Fill pump off (PANEL), THEN shut water. Test before loading.",
    respond_within="the next working morning",
    on_delay_seconds=60.0,
    off_delay_seconds=300.0,
    basis="The depot's mode says that one batch is wanted, the tank was within {0.05 m} of its "
    "fill mark and still since, and a fill begins after that. A minute outlasts waves (common "
    "practice, no source, for both).",
    suppressed_by=("depot-silent", "link-lost"),
)


class WaterLeftOn(Condition[Finding]):
    """A fill that began after the batch was complete."""

    def __init__(self, site: Site, batch: SingleBatch) -> None:
        self._batch = batch
        level = batch.level
        after = (level.sensor, site.trackers.mode)
        super().__init__(site, level.vessel.id, Finding, judged_after=after, unit="m")
        self._mode = site.trackers.mode

    def at_rest(self) -> bool:
        """It does not refill."""
        return not self._batch.refills_since

    def judge(self, now: Instant, active: bool) -> Verdict:
        """Does it refill?"""
        batch = self._batch
        if not (self._mode.single_batch and batch.refills_since):
            return CLEAR
        if batch.level.sensor.believed(now) is None:
            return Verdict.unknown(
                f"{self.units.name_of(batch.level.sensor.plan.id)} is silent or implausible"
            )
        return Verdict(True, Finding(value=round(batch.level.course.level or 0.0, 4), unit="m"))

    def words(self, finding: Finding, now: Instant) -> Words:
        """Which tank, and how high it is."""
        level = self.units.level(finding.value or 0.0)
        wanted = "but only one batch was wanted"
        past = f"{self.name} refilled, {wanted}"
        return Words(f"{self.name} refilling, {wanted}", f"{level} now", past=past)


ALARM = Alarm(
    record=RECORD,
    conditions=lambda site: [WaterLeftOn(site, batch) for batch in site.trackers.batches.values()],
)
