"""What people text back is not received, by one of the ways in which it may come."""

from collections.abc import Iterator

from brineward.alarms.condition import Alarm, Explained, Site, Words
from brineward.alarms.record import AlarmRecord
from brineward.alarms.service_trouble import ServiceTroubled
from brineward.readings.instants import Instant
from brineward.readings.outputs import Priority

RECORD = AlarmRecord(
    id="replies-unheard",
    title="REPLIES NOT HEARD",
    place=146,
    priority=Priority.MEDIUM,
    cause="The broker is away, or does not let brineward's login read the topic of [reply_topic], "
    "or its password is missing; or a modem has not answered for three minutes; or the last three "
    "calls of the gateway were refused: a wrong secret, a wrong clock, or a field of another name.",
    consequence="Who texts back takes nothing, so the next person is called as well.",
    response="Take alarms on the page or by brineward take, and call each other. Let brineward's "
    "login read the topic, see to the modem, or put the gateway's secret, clock or fields right: "
    "deploy/CONNECTING.md.",
    text_response="Replies do nothing now. Take alarms on the page or phone the others.",
    taken_by_reply=False,
    respond_within="1 hour",
    respond_seconds=3600.0,
    on_delay_seconds=300.0,
    off_delay_seconds=60.0,
    basis="A broker's restart takes under a minute (measured); five minutes is a fault. A modem's "
    "storage is looked at every 20 s; three minutes without that are a fault, and so are three "
    "refused calls in a row (common practice, no source).",
    suppressed_by=("link-lost",),  # only where replies come over the broker alone
)

WITHOUT_PAGE = "Replies do nothing now. Phone the others; brineward take takes alarms."
"""The same where there is no page."""
ONE_OF_SEVERAL = "A reply may do nothing now. If no answer comes, phone the others."
"""The same where replies come another way too."""


class RepliesUnheard(ServiceTroubled):
    """The service says which way is not heard; the rest depends on what other ways there are."""

    def __init__(self, site: Site) -> None:
        super().__init__(site, RECORD.id, "replies by text were not heard")
        duty = site.plan.duty
        self._response = "" if duty.page else WITHOUT_PAGE
        if duty.replies and not duty.replies_one_way:
            self._response = ONE_OF_SEVERAL

    def words(self, finding: Explained, now: Instant) -> Words:
        """The service's own sentence."""
        return super().words(finding, now)._replace(response=self._response)


def _conditions(site: Site) -> Iterator[RepliesUnheard]:
    if site.keeps_house:
        yield RepliesUnheard(site)


ALARM = Alarm(record=RECORD, conditions=_conditions)
