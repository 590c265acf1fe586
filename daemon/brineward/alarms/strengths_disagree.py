"""Conductivity and density disagree about a vessel's strength."""

from collections.abc import Iterator

from brineward.alarms.condition import Alarm, Condition, Explained, Site, Verdict, Words
from brineward.alarms.record import AlarmRecord, Coverage
from brineward.alarms.strength_band import measured_vessels
from brineward.physics.salinity import Salinity
from brineward.plant.plan import DepotPlan, Measure
from brineward.plant.second_witness import SecondWitness, witnesses
from brineward.plant.strengths import StrengthTracker
from brineward.readings.instants import Instant
from brineward.readings.modes import Mode
from brineward.readings.outputs import Priority

RECORD = AlarmRecord(
    id="strengths-disagree",
    title="CONDUCTIVITY AND DENSITY DISAGREE",
    place=80,
    priority=Priority.LOW,
    cause="A film or air on the probe, a thermometer that is off, or a density or pressure "
    "sensor that has moved.",
    consequence="The strength is known only within a wide range.",
    response="Test by hydrometer, with the sample's temperature: it shows which of the two to "
    "believe. Lock the pump out, then clean the other as its maker says. Nobody leans in or climbs "
    "in: a probe that can't be pulled from outside is left.",
    text_response="Test by hydrometer. Lock pump out, clean the wrong one; don't lean in.",
    respond_within="the next working day",
    on_delay_seconds=1800.0,
    off_delay_seconds=1800.0,
    basis="Further apart than honest errors would put them one time in twenty; half an hour "
    "outlasts a bubble (common practice, no source, for the delay). What is drained or flushed is "
    "loaded no more.",
    suppressed_by=("depot-silent", "link-lost"),
    quiet_in=(Mode.DRAINING, Mode.LAID_UP),
)


class StrengthsDisagree(Condition[Explained]):
    """Conductivity and density show strengths further apart than both allow."""

    def __init__(self, site: Site, tracker: StrengthTracker, witness: SecondWitness) -> None:
        self._tracker = tracker
        self._witness = witness
        after = (tracker.probe.sensor,)
        super().__init__(site, tracker.probe.vessel, Explained, judged_after=after)

    def judge(self, now: Instant, active: bool) -> Verdict:
        """Do they disagree? Unknown while the tank moves or one of the two is missing."""
        probe = self._tracker.probe
        if probe.level is None or not probe.in_standing_brine(now):
            return Verdict.unknown("the tank is moving, or the probe is not known to be covered")
        if not isinstance(self._tracker.newest, Salinity):
            return Verdict.unknown("the probe shows no strength")
        return Verdict.explained(self._witness.question)

    def words(self, finding: Explained, now: Instant) -> Words:
        """What each shows."""
        return Words(
            f"{self.name}: {finding.why}", past=f"{self.name}: probe and density disagreed"
        )


def _conditions(site: Site) -> Iterator[StrengthsDisagree]:
    for vessel in measured_vessels(site.plan):
        tracker = site.trackers.strengths[vessel.id]
        if tracker.witness is not None:
            yield StrengthsDisagree(site, tracker, tracker.witness)


def _coverage(plan: DepotPlan) -> Iterator[Coverage]:
    for vessel in measured_vessels(plan):
        density = witnesses(plan, vessel.id)
        probe = plan.sensor_of(Measure.CONDUCTIVITY, vessel.id)
        if density and probe is not None:
            by = (probe.id, *(sensor.id for sensor in density))
            yield Coverage(RECORD.id, vessel.id, "covered", by)


ALARM = Alarm(record=RECORD, conditions=_conditions, coverage=_coverage)
