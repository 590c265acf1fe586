"""A part of the service has stopped: it died, does not come round, or can't listen."""

from brineward.alarms.condition import Alarm
from brineward.alarms.record import AlarmRecord
from brineward.alarms.service_trouble import troubled
from brineward.readings.outputs import Priority

RECORD = AlarmRecord(
    id="part-stopped",
    title="PART OF THE SERVICE STOPPED",
    place=142,
    priority=Priority.MEDIUM,
    cause="A fault of the program, a disk or network that never answers, or an address, port or "
    "certificate by which the page or the listener for replies can't be served.",
    consequence="Texts are not sent, or nobody looks at disk, records and channels, or the page "
    "does not answer, or replies and receipts are not received.",
    response="Phone each other until it works again. See in the log why; put an address, port or "
    "certificate right that it names. Else restart the service; report it with its log.",
    text_response="Texts may fail: phone the others. Restart brineward on its box.",
    respond_within="1 hour",
    respond_seconds=3600.0,
    on_delay_seconds=60.0,
    off_delay_seconds=60.0,
    basis="Each thread comes round within a minute; one that has not for ten hangs. What can't be "
    "served is tried again every 5 s: an address that comes up late raises no alarm.",
)

ALARM = Alarm(record=RECORD, conditions=troubled(RECORD, "a part of brineward was stopped"))
