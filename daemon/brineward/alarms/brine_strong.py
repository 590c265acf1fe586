"""Brine strong: the strength above its band."""

from brineward.alarms.condition import Alarm
from brineward.alarms.record import AlarmRecord
from brineward.alarms.strength_band import BASIS, QUIET_IN, outside, strength_coverage
from brineward.readings.outputs import Priority

RECORD = AlarmRecord(
    id="brine-strong",
    title="BRINE STRONG",
    place=50,
    priority=Priority.MEDIUM,
    danger="strong brine",
    cause="Too little fresh water in the blend, or a probe or thermometer that is off.",
    consequence="Crystals drop in the cold, steeply above 23.3 %, and plug pumps, hoses and "
    "nozzles.",
    response="Do not load from this tank. Test a tap sample by hydrometer, with its temperature. "
    "Blend with fresh water when the test agrees.",
    text_response="Don't load. Test a tap sample by hydrometer; add water if confirmed.",
    respond_within="before the next load",
    on_delay_seconds=180.0,
    off_delay_seconds=300.0,
    basis=BASIS.format(
        end="high",
        rule="one of them where it may become so cold that 25 % drops crystals (at {-9 degC}), 1.3 "
        "elsewhere; none, or 0.4, once a fill has brought a mix above the band.",
    ),
    quiet_in=QUIET_IN,
)

ALARM = Alarm(
    record=RECORD,
    conditions=outside(side=1, called="strong"),
    coverage=strength_coverage(RECORD),
)
