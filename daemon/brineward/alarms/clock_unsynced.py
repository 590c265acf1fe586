"""This machine's clock is not kept by any time server."""

from brineward.alarms.condition import Alarm
from brineward.alarms.record import AlarmRecord
from brineward.alarms.service_trouble import troubled
from brineward.readings.outputs import Priority

RECORD = AlarmRecord(
    id="clock-unsynced",
    title="CLOCK NOT SYNCHRONISED",
    place=154,
    priority=Priority.LOW,
    cause="No time server is reached, or nothing on the machine asks one.",
    consequence="The clock drifts: times in texts and records become wrong, and readings with "
    "their own time look late.",
    response="See that the machine reaches a time server (systemd-timesyncd, chrony or ntpd).",
    text_response="Let the brineward box reach a time server.",
    respond_within="the next working day",
    on_delay_seconds=6 * 3600.0,
    off_delay_seconds=600.0,
    basis="The kernel's own word (adjtimex), looked at every minute. A quartz drifts some seconds "
    "a day, so hours without a server change nothing yet.",
)

ALARM = Alarm(
    record=RECORD, conditions=troubled(RECORD, "the box's clock was kept by no time server")
)
