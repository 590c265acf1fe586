"""The series have not left the box for a day: their server does not take them."""

from brineward.alarms.condition import Alarm
from brineward.alarms.record import AlarmRecord
from brineward.alarms.service_trouble import troubled
from brineward.readings.outputs import Priority

RECORD = AlarmRecord(
    id="export-behind",
    title="EXPORT BEHIND",
    place=153,
    priority=Priority.LOW,
    cause="The server of an export is down, full, out of reach, or refuses its token.",
    consequence="The agency's years lack these days; they are sent later, as long as the journal "
    "keeps them.",
    response="See brineward status for the server's own words; put its address, token or disk "
    "right.",
    text_response="No hurry: nothing is lost. On the brineward box, brineward status says why.",
    respond_within="a week",
    on_delay_seconds=3600.0,
    off_delay_seconds=60.0,
    basis="The oldest entry that was not sent is a day old; looked at every minute. An hour is "
    "left for catching up.",
)

ALARM = Alarm(record=RECORD, conditions=troubled(RECORD, "an export was behind"))
