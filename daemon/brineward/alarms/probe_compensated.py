"""Probe compensated: its transmitter turns its readings to 25 degC: they are no conductivity."""

from collections.abc import Iterator

from brineward.alarms.condition import Alarm, Condition, Explained, Site, Verdict, Words
from brineward.alarms.record import AlarmRecord
from brineward.plant.compensation import Compensation
from brineward.readings.instants import Instant
from brineward.readings.outputs import Priority

RECORD = AlarmRecord(
    id="probe-compensated",
    title="PROBE COMPENSATED",
    place=72,
    priority=Priority.LOW,
    cause="The probe's transmitter corrects its readings to {25 degC} by itself, by a fixed "
    "percent a degree.",
    consequence="No strength is known, or a wrong one: weak or strong brine is not noticed.",
    response="Have the transmitter's temperature compensation switched off, so that it sends "
    "conductivity as it is. Until then test each batch by hydrometer, with the sample's "
    "temperature.",
    text_response="Switch the transmitter's compensation off. Until then test by hydrometer.",
    respond_within="the next working day",
    on_delay_seconds=240.0,
    off_delay_seconds=600.0,
    basis="For five minutes, in standing brine under {20 degC}, readings 5 % above saturated "
    "brine's that are the depot's own within 5 % once a correction of 1.9 to 2.2 % a kelvin to "
    "{25 degC} is undone (common practice, no source). Or, across {4 K} of standing brine's "
    "temperature and twelve hours, a slope that with three standard errors is under a third of "
    "the brine's (computed from its conductivity).",
    suppressed_by=("depot-silent", "link-lost"),
)


class ProbeCompensated(Condition[Explained]):
    """The readings are as at 25 degC whatever the cold."""

    def __init__(self, site: Site, compensation: Compensation) -> None:
        self._compensation = compensation
        after = (compensation.sensor,)
        super().__init__(site, compensation.vessel, Explained, judged_after=after)

    def at_rest(self) -> bool:
        """Nothing new has been looked at since it was found to follow, or not to tell."""
        return not self._compensation.compensated

    def judge(self, now: Instant, active: bool) -> Verdict:
        """Does it compensate?"""
        found = self._compensation.compensated
        if found is None:
            return Verdict.not_now("the brine has been neither cold nor changing for long enough")
        reads = f"probe reads as if at {self.units.whole_degrees(25.0)} whatever the cold"
        return Verdict.explained(reads if found else "")

    def words(self, finding: Explained, now: Instant) -> Words:
        """What it does."""
        past = f"{self.name}: probe read as at one temperature"
        return Words(f"{self.name}: {finding.why}", past=past)


def _conditions(site: Site) -> Iterator[ProbeCompensated]:
    for compensation in site.trackers.compensations.values():
        yield ProbeCompensated(site, compensation)


ALARM = Alarm(record=RECORD, conditions=_conditions)
