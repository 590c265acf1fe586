"""No link to the broker."""

from brineward.alarms.condition import Alarm, Condition, Explained, Site, Verdict, Words
from brineward.alarms.record import AlarmRecord
from brineward.alarms.service_trouble import TROUBLE_SOURCE
from brineward.readings.instants import Instant
from brineward.readings.outputs import Priority

RECORD = AlarmRecord(
    id="link-lost",
    title="NO LINK TO THE BROKER",
    place=90,
    priority=Priority.MEDIUM,
    cause="The broker is down, or the network between it and brineward, or another program uses "
    "brineward's client id.",
    consequence="No reading comes in: every alarm of this depot is blind.",
    response="See that the broker's machine and the network have power. Until then check on site.",
    text_response="Nothing is watched: check level, pump, leaks on site. Check network.",
    respond_within="1 hour",
    respond_seconds=3600.0,
    on_delay_seconds=300.0,
    off_delay_seconds=30.0,
    basis="A broker's restart takes under a minute (measured); five minutes is a fault.",
)


class LinkLost(Condition[Explained]):
    """The connection is lost."""

    def __init__(self, site: Site) -> None:
        self._link = site.watch.link
        self._brings_replies = site.plan.duty.replies_by_broker
        super().__init__(site, "broker", Explained, judged_after=(self._link,))

    def judge(self, now: Instant, active: bool) -> Verdict:
        """Is it lost?"""
        return Verdict.explained("" if self._link.up else self._link.why)

    def explains(self, finding: Explained, source: str) -> bool:
        """All that comes from sensors; replies only where they come over the broker alone.

        Of troubles of the watch itself only replies not heard name this alarm as their cause. Then
        its own text has already said how else to take an alarm.
        """
        return source != TROUBLE_SOURCE or self._brings_replies

    def words(self, finding: Explained, now: Instant) -> Words:
        """That it is lost, and why."""
        return Words(
            "no link to the broker", detail=finding.why, past="there was no link to the broker"
        )


ALARM = Alarm(record=RECORD, conditions=lambda site: [LinkLost(site)] if site.keeps_house else [])
