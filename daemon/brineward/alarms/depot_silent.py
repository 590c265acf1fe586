"""Depot silent: not one sensor has reported for the shortest silence that any of them allows."""

from brineward.alarms.condition import CLEAR, Alarm, Condition, Finding, Site, Verdict, Words
from brineward.alarms.record import AlarmRecord
from brineward.readings.instants import SECOND, Instant
from brineward.readings.modes import Mode
from brineward.readings.outputs import Priority

RECORD = AlarmRecord(
    id="depot-silent",
    title="DEPOT SILENT",
    place=100,
    priority=Priority.MEDIUM,
    cause="The gateway lost its power or its network, or its clock stopped.",
    consequence="No reading comes in: every alarm of this depot is blind.",
    response="Check on site. Check the gateway's power and network.",
    text_response="Nothing is watched. On site check level, pump, leaks; if dry, gateway power.",
    respond_within="1 hour",
    respond_seconds=3600.0,
    on_delay_seconds=20.0,
    off_delay_seconds=30.0,
    basis="No sensor has reported anything readable for the shortest silence that any allows. "
    "Laid up, the power may be off: that nobody watches then is said once, and no alarm.",
    suppressed_by=("link-lost",),
    quiet_in=(Mode.LAID_UP,),
)


class DepotSilent(Condition[Finding]):
    """Silent, all of it."""

    looks_wander = True

    def __init__(self, site: Site) -> None:
        sensors = site.plan.sensors.values()
        shortest = min((s.silent_after_seconds for s in sensors), default=60.0)
        self._limit = round(shortest * SECOND)
        self._hearing, self._link = site.watch.hearing, site.watch.link
        after = (self._hearing, self._link)
        super().__init__(site, "depot", Finding, judged_after=after, limit=shortest, unit="s")

    def at_rest(self) -> bool:
        """Something has just been heard, and it was not silent."""
        return True

    def judge(self, now: Instant, active: bool) -> Verdict:
        """Silent for too long?"""
        silence = self._link.silence(self._hearing.last_heard, now)
        if silence is None:
            return Verdict.unknown(self._link.deaf())
        if silence < self._limit:
            return CLEAR
        return Verdict(True, Finding(value=round(silence / SECOND, 0), limit=self.limit, unit="s"))

    def next_look(self, now: Instant) -> Instant | None:
        """When the silence is too long, should it last."""
        silence = self._link.silence(self._hearing.last_heard, now)
        return None if silence is None else now - silence + self._limit

    def words(self, finding: Finding, now: Instant) -> Words:
        """That it is silent."""
        return Words("no readings from the depot", past="no readings came from the depot")


ALARM = Alarm(record=RECORD, conditions=lambda site: [DepotSilent(site)])
