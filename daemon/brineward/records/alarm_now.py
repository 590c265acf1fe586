"""One alarm that is not normal: what is wrong, how bad it is now, since when, what to do."""

from collections.abc import Mapping, Sequence
from dataclasses import dataclass
from typing import Any, Final, NamedTuple

from brineward.alarms.condition import Condition
from brineward.alarms.registry import CATALOGUE, alarms_at, site_of
from brineward.journal.active_alarms import ActiveAlarm
from brineward.journal.outbox import OutboxText
from brineward.plant.plan import SI_UNITS, DepotPlan, SensorPlan
from brineward.readings.instants import SECOND, Instant
from brineward.readings.outputs import AlarmChanged, AlarmState, Derived
from brineward.readings.values import Quality, Reading

_LATCHED: Final = (AlarmState.LATCHED_UNACKNOWLEDGED, AlarmState.LATCHED_ACKNOWLEDGED)
_ACTIVE: Final = (AlarmState.UNACKNOWLEDGED, AlarmState.ACKNOWLEDGED, *_LATCHED)
_WAITING: Final = (
    AlarmState.UNACKNOWLEDGED,
    AlarmState.RETURNED_UNACKNOWLEDGED,
    AlarmState.LATCHED_UNACKNOWLEDGED,
)

STRENGTH_UNIT: Final = "1"
"""The unit of a mass fraction, as alarms about the strength give it."""


@dataclass(frozen=True, slots=True, kw_only=True)
class Now:
    """A depot as it is known at an instant."""

    plan: DepotPlan
    readings: Mapping[str, Reading]
    derived: Mapping[str, Derived]
    active: Sequence[ActiveAlarm]
    time: Instant
    conditions: Mapping[tuple[str, str], Condition[Any]]
    """What is watched at the depot, by alarm and source."""


class _Value(NamedTuple):
    value: float
    time: Instant


@dataclass(frozen=True, slots=True, kw_only=True)
class AlarmNow:
    """What is shown of an alarm that is not normal; values SI."""

    alarm: ActiveAlarm
    code: str
    """Empty where it has no number yet."""
    active: bool
    unacknowledged: bool
    latched: bool
    suppressed_by: tuple[str, ...]
    """The active alarms that it is a consequence of."""
    text: OutboxText | None
    """The last text that said it was raised."""
    value: float | None
    """What it judges, as it is now; None where it judges no number, or none is known."""
    value_age_seconds: float | None
    response: str
    """What to do, in full, quantities in braces."""


def alarm_now(state: Now, alarm: ActiveAlarm, texts: Sequence[OutboxText]) -> AlarmNow:
    """What is shown of an alarm; `texts` are those about this occurrence, the oldest first."""
    change = alarm.change
    record = CATALOGUE.get(change.alarm)
    value = value_now(state, change)
    texted = [text for text in texts if text.kind in ("raised", "again")]
    return AlarmNow(
        alarm=alarm,
        code=state.plan.code(change.number) if change.number else "",
        active=change.state in _ACTIVE,
        unacknowledged=change.state in _WAITING,
        latched=change.state in _LATCHED,
        suppressed_by=_causes(state, change),
        text=texted[-1] if texted else None,
        value=None if value is None else value.value,
        value_age_seconds=None if value is None else (state.time - value.time) / SECOND,
        response="" if record is None else record.response,
    )


def value_now(state: Now, change: AlarmChanged) -> _Value | None:
    """What the alarm judges, as it is now; None where it judges no number, or none is known."""
    if change.value is None:
        return None
    condition = state.conditions.get((change.alarm, change.source))
    if condition is None:
        return None
    if change.unit == STRENGTH_UNIT:
        strength = state.derived.get(f"{change.source}-strength")
        known = strength if condition.value_from is None else None
        return None if known is None else _Value(known.value, known.time)
    for name in condition.value_sensors(change.unit):
        reading = state.readings.get(name)
        if reading is not None and reading.value is not None and _usable(reading):
            return _Value(reading.value, reading.time)
    return None


def conditions_of(plan: DepotPlan) -> dict[tuple[str, str], Condition[Any]]:
    """What is watched at the depot, by alarm and source."""
    watched = alarms_at(site_of(plan))
    return {(one.record.id, one.condition.source): one.condition for one in watched}


def outside(state: Now, sensor: SensorPlan, reading: Reading) -> bool:
    """Is this reading beyond a limit that an alarm is judged by?"""
    value, unit = reading.value, SI_UNITS.get(sensor.measures)
    if value is None or unit is None or not _usable(reading):
        return False
    return any(
        condition.beyond(value)
        for condition in state.conditions.values()
        if condition.unit == unit and sensor.id in condition.value_sensors(unit)
    )


def is_judged(state: Now, sources: Sequence[str]) -> bool:
    """Is there an alarm with a number about one of these already, whatever its state?"""
    return any(
        one.change.source in sources and one.change.value is not None for one in state.active
    )


def _usable(reading: Reading) -> bool:
    return reading.quality is not Quality.BAD


def _causes(state: Now, change: AlarmChanged) -> tuple[str, ...]:
    """The active alarms that this one is a consequence of."""
    record = CATALOGUE.get(change.alarm)
    if change.state is not AlarmState.SUPPRESSED or record is None:
        return ()
    active = {one.change.alarm for one in state.active if one.change.state in _ACTIVE}
    return tuple(name for name in record.suppressed_by if name in active)
