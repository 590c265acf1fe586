"""A way to people can't be used: its secret is missing, say."""

from brineward.alarms.condition import Alarm
from brineward.alarms.record import AlarmRecord
from brineward.alarms.service_trouble import troubled
from brineward.readings.outputs import Priority

RECORD = AlarmRecord(
    id="channel-unusable",
    title="CHANNEL UNUSABLE",
    place=145,
    priority=Priority.MEDIUM,
    cause="The secret that the config names for a text gateway or for replies isn't there.",
    consequence="Nobody is texted by it, or nobody's reply is heard.",
    response="Put the secret where the config says, readable for the service.",
    text_response="Nobody is texted by it: set its secret on the watch's machine.",
    respond_within="1 hour",
    respond_seconds=3600.0,
    on_delay_seconds=0.0,
    off_delay_seconds=0.0,
    basis="The secret is looked for at the start and every minute.",
)

ALARM = Alarm(record=RECORD, conditions=troubled(RECORD))
