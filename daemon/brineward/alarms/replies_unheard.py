"""What people text back is not received, by one of the ways in which it may come."""

from brineward.alarms.condition import Alarm
from brineward.alarms.record import AlarmRecord
from brineward.alarms.service_trouble import troubled
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
    suppressed_by=("link-lost",),
)

ALARM = Alarm(record=RECORD, conditions=troubled(RECORD, "replies by text were not heard"))
