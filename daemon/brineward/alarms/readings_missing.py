"""Readings missing: over an outage, readings were lost on their way, and were never judged."""

from dataclasses import dataclass

from brineward.alarms.condition import CLEAR, Alarm, Condition, Finding, Site, Verdict, Words
from brineward.alarms.record import AlarmRecord
from brineward.readings.instants import Instant
from brineward.readings.outputs import Priority

RECORD = AlarmRecord(
    id="readings-missing",
    title="READINGS MISSING",
    place=95,
    priority=Priority.LOW,
    cause="While the link, the broker or brineward was away, the broker's queue was full, or it "
    "kept no session, or a gateway kept nothing.",
    consequence="Nobody judged that time, and nobody will: what began and ended in it is unknown.",
    response="Look at the levels before and after it, and from outside for a spill. Where the "
    "broker's queue was full, give it more room (max_queued_messages, max_queued_bytes).",
    text_response="Nobody watched then. Look from outside for a spill; check the broker.",
    respond_within="the next working morning",
    on_delay_seconds=0.0,
    off_delay_seconds=0.0,
    basis="Over an outage, two readings of one sensor follow each other by more than its "
    "`silent_after`, by their own times. Told a minute after the outage, when what had waited is "
    "through, and for a day.",
)


@dataclass(frozen=True, slots=True, kw_only=True)
class Missing(Finding):
    """About `value` readings are missing, of all sensors together."""

    first: Instant
    last: Instant
    by_sensor: str


class ReadingsMissing(Condition[Missing]):
    """Gaps over the last outages."""

    def __init__(self, site: Site) -> None:
        self._missing = site.watch.missing
        super().__init__(site, "depot", Missing, judged_after=(self._missing,), unit="readings")

    def at_rest(self) -> bool:
        """None was found."""
        return not self._missing.gaps

    def judge(self, now: Instant, active: bool) -> Verdict:
        """Is there a gap that everybody should know of by now?"""
        missing = self._missing
        if not missing.gaps or now >= missing.announced_until():
            return CLEAR
        from_ = missing.announced_from()
        if not active and (from_ is None or now < from_):
            return Verdict.unknown("what had waited may still be on its way")
        gaps = sorted(missing.gaps.items())
        finding = Missing(
            value=float(sum(gap.missing for _, gap in gaps)),
            unit="readings",
            first=min(gap.first for _, gap in gaps),
            last=max(gap.last for _, gap in gaps),
            by_sensor=", ".join(f"{self.units.name_of(name)} {gap.missing}" for name, gap in gaps),
        )
        return Verdict(True, finding)

    def next_look(self, now: Instant) -> Instant | None:
        """When all that had waited has arrived, and when it is no longer announced."""
        if not self._missing.gaps:
            return None
        from_ = self._missing.announced_from()
        if from_ is None:
            return None
        return from_ if from_ > now else self._missing.announced_until()

    def words(self, finding: Missing, now: Instant) -> Words:
        """How many, from when to when; for a log also of which sensors."""
        first, last = (self.units.clock_time(at, now) for at in (finding.first, finding.last))
        return Words(
            "readings missing",
            how_bad=f"about {finding.value:,.0f}, {first}-{last}",
            detail=finding.by_sensor,
            past="readings were missing",
            since=finding.first,
        )


ALARM = Alarm(record=RECORD, conditions=lambda site: [ReadingsMissing(site)])
