"""Brine weak: the strength under its band."""

from brineward.alarms.condition import Alarm
from brineward.alarms.record import AlarmRecord
from brineward.alarms.strength_band import BASIS, QUIET_IN, outside, strength_coverage
from brineward.readings.outputs import Priority

BEFORE_FROST = "Don't load. Drain hose, outdoor line. Test by hydrometer."
"""What to do in a text where it may freeze outdoors tonight: by day somebody still can."""

RECORD = AlarmRecord(
    id="brine-weak",
    title="BRINE WEAK",
    place=40,
    priority=Priority.MEDIUM,
    danger="weak brine",
    cause="Salt low in the hopper, too much fresh water in the blend, rain in the tank, or a "
    "probe that has fouled or drifted.",
    consequence="It freezes earlier, about {1 K} for each 0.6 % under 23.3 %, on the road and in "
    "the tank.",
    response="Do not load from this tank. Test a tap sample by hydrometer, with its temperature. "
    "Look at the salt in the hopper from outside; nobody leans in. Where it may freeze outdoors "
    "tonight, let the hose and the outdoor line run empty before that.",
    text_response="Don't load. Test by hydrometer; check the hopper's salt from outside.",
    respond_within="before the next load",
    on_delay_seconds=180.0,
    off_delay_seconds=300.0,
    basis=BASIS.format(end="low", rule="one of them.")
    + " Where it may freeze outdoors, at the coldest of the last day and {3 K} colder (common "
    "practice, no source), the text says so.",
    suppressed_by=("fill-weak",),
    quiet_in=QUIET_IN,
)

ALARM = Alarm(
    record=RECORD,
    conditions=outside(side=-1, called="weak", before_frost=BEFORE_FROST),
    coverage=strength_coverage(RECORD),
)
