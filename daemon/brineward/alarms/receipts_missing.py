"""A gateway takes texts and gives no receipt: it may deliver none of them."""

from brineward.alarms.condition import Alarm
from brineward.alarms.record import AlarmRecord
from brineward.alarms.service_trouble import troubled
from brineward.readings.outputs import Priority

RECORD = AlarmRecord(
    id="receipts-missing",
    title="TEXTS TAKEN, NOT DELIVERED",
    place=141,
    priority=Priority.MEDIUM,
    cause="The gateway says yes and delivers nothing, or its receipts don't arrive here.",
    consequence="Each text waits for a receipt that never comes before the next way is tried.",
    response="Read the gateway's own log: account, credit, carrier, where it sends receipts.",
    text_response="Phone people meanwhile. Check gateway: account, credit, receipts.",
    respond_within="1 hour",
    respond_seconds=3600.0,
    on_delay_seconds=0.0,
    off_delay_seconds=0.0,
    basis="Two texts in a row without a receipt in the channel's set time: one may be lost on its"
    " way (common practice, no source).",
)

ALARM = Alarm(record=RECORD, conditions=troubled(RECORD, "texts were taken and not delivered"))
