"""A part of the service has stopped: its thread died, or does not come round."""

from brineward.alarms.condition import Alarm
from brineward.alarms.record import AlarmRecord
from brineward.alarms.service_trouble import troubled
from brineward.readings.outputs import Priority

RECORD = AlarmRecord(
    id="part-stopped",
    title="PART OF THE SERVICE STOPPED",
    place=142,
    priority=Priority.MEDIUM,
    cause="A fault of the program, or a disk or network that never answers.",
    consequence="Texts are not sent, or nobody looks at disk, records and channels.",
    response="Restart the service; report it with its log.",
    text_response="Restart brineward on its box; report it with its log.",
    respond_within="1 hour",
    respond_seconds=3600.0,
    on_delay_seconds=60.0,
    off_delay_seconds=60.0,
    basis="Each thread comes round within a minute; one that has not for ten hangs.",
)

ALARM = Alarm(record=RECORD, conditions=troubled(RECORD, "a part of brineward was stopped"))
