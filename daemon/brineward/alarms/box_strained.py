"""The brineward box runs out of memory or file handles."""

from brineward.alarms.condition import Alarm
from brineward.alarms.record import AlarmRecord
from brineward.alarms.service_trouble import troubled
from brineward.readings.outputs import Priority

RECORD = AlarmRecord(
    id="box-strained",
    title="BRINEWARD BOX STRAINED",
    place=152,
    priority=Priority.LOW,
    cause="Another program takes the memory, or something of the service lets go of nothing.",
    consequence="The service is ended by the system, or can open neither journal nor connection.",
    response="Restart the service at a quiet hour, see what else runs on the machine, and report "
    "it.",
    text_response="Restart brineward at a quiet hour; see what else runs there.",
    respond_within="the next working day",
    on_delay_seconds=600.0,
    off_delay_seconds=600.0,
    basis="85 % of the memory that the service may have (its control group's), 5 % of the "
    "machine's left, or 80 % of the file handles that it may open; looked at every minute.",
)

ALARM = Alarm(record=RECORD, conditions=troubled(RECORD, "the brineward box was strained"))
