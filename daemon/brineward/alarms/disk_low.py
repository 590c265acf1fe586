"""The disk of the watch's machine is nearly full."""

from brineward.alarms.condition import Alarm
from brineward.alarms.record import AlarmRecord
from brineward.alarms.service_trouble import troubled
from brineward.readings.outputs import Priority

RECORD = AlarmRecord(
    id="disk-low",
    title="DISK NEARLY FULL",
    place=150,
    priority=Priority.LOW,
    cause="Readings, logs or other programs fill the disk.",
    consequence="The oldest raw readings are thinned; with no room left nothing is kept.",
    response="Make room on the machine or move a backup away.",
    text_response="Make room on the brineward box.",
    respond_within="the next working day",
    on_delay_seconds=60.0,
    off_delay_seconds=60.0,
    basis="The free space that the config says.",
)

ALARM = Alarm(record=RECORD, conditions=troubled(RECORD, "the journal's disk was nearly full"))
