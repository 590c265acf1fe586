"""A person can't be reached by texts."""

from brineward.alarms.condition import Alarm, Condition, Explained, Site, Verdict, Words
from brineward.alarms.record import AlarmRecord
from brineward.readings.instants import Instant
from brineward.readings.outputs import Priority
from brineward.watch.reach import Reach

RECORD = AlarmRecord(
    id="texts-failing",
    title="TEXTS NOT GETTING THROUGH",
    place=140,
    priority=Priority.MEDIUM,
    cause="The text gateway is down or refuses, or the number is wrong or opted out.",
    consequence="The person is not woken by the next alarm.",
    response="Reach them another way; check gateway, credit and number.",
    text_response="Phone them: alarms don't wake them. Check gateway, number.",
    respond_within="1 hour",
    respond_seconds=3600.0,
    on_delay_seconds=0.0,
    off_delay_seconds=0.0,
    basis="A text that no gateway took within its channel's set time.",
)


class TextsFailing(Condition[Explained]):
    """One person on call."""

    def __init__(self, site: Site, reach: Reach) -> None:
        self._reach = reach
        self.untold = reach.person
        super().__init__(site, reach.person, Explained, judged_after=(reach,))

    def judge(self, now: Instant, active: bool) -> Verdict:
        """Can they not be reached?"""
        return Verdict.explained(self._reach.why_not)

    def words(self, finding: Explained, now: Instant) -> Words:
        """Who can't be reached, and why."""
        return Words(
            f"texts don't reach {self.name}: {finding.why}",
            past=f"texts did not reach {self.name}",
        )


ALARM = Alarm(
    record=RECORD,
    conditions=lambda site: [TextsFailing(site, reach) for reach in site.watch.reach.values()],
)
