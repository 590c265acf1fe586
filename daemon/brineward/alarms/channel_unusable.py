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
    cause="A secret or folder that the config names for texts or for replies is missing.",
    consequence="Nobody is texted by it, or nobody's reply is heard.",
    response="Put the secret or make the folder where the config says, for the service to read. "
    "Until then call people.",
    text_response="Phone people instead. On the brineward box, brineward check says what to fix.",
    respond_within="1 hour",
    respond_seconds=3600.0,
    on_delay_seconds=0.0,
    off_delay_seconds=0.0,
    basis="Secrets and folders are looked for at the start and every minute.",
)

ALARM = Alarm(record=RECORD, conditions=troubled(RECORD, "a channel was unusable", apart=True))
