"""Strength not known: a covered probe in a standing tank reads what no brine there can."""

from dataclasses import dataclass

from brineward.alarms.condition import CLEAR, Alarm, Condition, Finding, Site, Verdict, Words
from brineward.alarms.record import AlarmRecord
from brineward.alarms.strength_band import measured_vessels, strength_coverage
from brineward.physics.salinity import NotBrine
from brineward.plant.strengths import StrengthTracker
from brineward.readings.instants import Instant
from brineward.readings.modes import Mode
from brineward.readings.outputs import Priority

RECORD = AlarmRecord(
    id="strength-unknown",
    title="STRENGTH NOT KNOWN",
    place=60,
    priority=Priority.LOW,
    cause="The probe is dry, fouled or has air on it, the thermometer is off, or the tank is "
    "so cold that ice or crystals are in it.",
    consequence="Weak or strong brine is not noticed.",
    response="Test by hydrometer, with the sample's temperature. Lock the pump out, then clean "
    "the probe as its maker says. Look for ice or crystals from outside. Nobody leans in or climbs "
    "in: a probe that can't be pulled from outside is left.",
    text_response="Test by hydrometer. Lock pump out, pull and clean the probe; don't lean in.",
    respond_within="before the next load",
    on_delay_seconds=600.0,
    off_delay_seconds=300.0,
    basis="A covered probe in a standing tank with a reading that no brine can give (common "
    "practice, no source, for the delay). A tank that is filled for the first time, drained or "
    "flushed shows anything.",
    suppressed_by=("probe-compensated", "depot-silent", "link-lost"),
    quiet_in=(Mode.FILLING_UP, Mode.DRAINING, Mode.LAID_UP),
)

_READS = {
    "probe-dry": "probe reads dry",
    "slush": "slush at the probe",
    "above-saturation": "probe reads impossibly strong",
    "not-brine": "probe reads impossibly strong",
}


@dataclass(frozen=True, slots=True, kw_only=True)
class NoBrine(Finding):
    """Why no strength can be given."""

    reason: str
    sentence: str


class StrengthUnknown(Condition[NoBrine]):
    """No brine, where there should be some."""

    def __init__(self, site: Site, tracker: StrengthTracker) -> None:
        self._tracker = tracker
        after = (tracker.probe.sensor,)
        super().__init__(site, tracker.probe.vessel, NoBrine, judged_after=after)

    def judge(self, now: Instant, active: bool) -> Verdict:
        """Does the probe read what no brine there can?"""
        found, probe = self._tracker.newest, self._tracker.probe
        if found is None:
            return Verdict.unknown("no fresh temperature beside the conductivity")
        if not isinstance(found, NotBrine):
            return CLEAR
        if probe.level is None or not probe.in_standing_brine(now):
            return Verdict.unknown("the tank is moving, or the probe is not known to be covered")
        return Verdict(True, NoBrine(reason=found.reason, sentence=found.sentence))

    def words(self, finding: NoBrine, now: Instant) -> Words:
        """What the probe reads."""
        reads = _READS.get(finding.reason, "strength not known")
        past = f"{self.name}: strength was not known"
        return Words(f"{self.name}: {reads}", detail=finding.sentence, past=past)


ALARM = Alarm(
    record=RECORD,
    conditions=lambda site: [
        StrengthUnknown(site, site.trackers.strengths[vessel.id])
        for vessel in measured_vessels(site.plan)
    ],
    coverage=strength_coverage(RECORD),
)
