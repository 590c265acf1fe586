"""The records of the watch are damaged."""

from brineward.alarms.condition import Alarm
from brineward.alarms.record import AlarmRecord
from brineward.alarms.service_trouble import troubled
from brineward.readings.outputs import Priority

RECORD = AlarmRecord(
    id="records-damaged",
    title="RECORDS DAMAGED",
    place=160,
    priority=Priority.MEDIUM,
    cause="A power cut, a failing disk or card.",
    consequence="Records may be lost; the watch goes on.",
    response="Take a backup at once, and replace the disk or card.",
    text_response="Take a backup; replace the disk or card.",
    respond_within="the next working day",
    on_delay_seconds=0.0,
    off_delay_seconds=60.0,
    latched=True,
    basis="SQLite's own integrity check, at the start and slowly in service. Latched: a fresh "
    "journal passes the check on the disk that damaged the old one.",
)

ALARM = Alarm(record=RECORD, conditions=troubled(RECORD, "the journal was damaged"))
