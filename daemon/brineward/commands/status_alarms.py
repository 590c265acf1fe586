"""One alarm for the status: what is wrong, how bad it is now, since when, what to do."""

import shlex
from collections.abc import Mapping, Sequence
from dataclasses import dataclass
from pathlib import Path
from typing import Any, Final, NamedTuple

from brineward.alarms.registry import CATALOGUE, alarms_at, site_of
from brineward.commands.config_file import INSTALLED_CONFIG
from brineward.plant.plan import SI_UNITS, DepotPlan, SensorPlan
from brineward.readings.instants import SECOND, Instant, rfc3339_from_instant
from brineward.readings.outputs import AlarmChanged, AlarmState, Derived
from brineward.readings.values import Quality, Reading
from brineward.records import ActiveAlarm, OutboxText

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


class _Value(NamedTuple):
    value: float
    time: Instant


def alarm_status(
    state: Now, alarm: ActiveAlarm, texts: Sequence[OutboxText], file: Path
) -> dict[str, Any]:
    """What is shown of an alarm that is not normal; `texts` are those about this occurrence."""
    change = alarm.change
    record = CATALOGUE.get(change.alarm)
    value = value_now(state, change)
    code = state.plan.code(change.number) if change.number else ""
    texted = [text for text in texts if text.kind in ("raised", "again")][-1:]
    return {
        "code": code,
        "alarm": change.alarm,
        "source": change.source,
        "state": change.state.value,
        "active": change.state in _ACTIVE,
        "unacknowledged": change.state in _WAITING,
        "suppressed_by": _causes(state, change),
        "priority": change.priority.value,
        "since": rfc3339_from_instant(alarm.since),
        "changed": rfc3339_from_instant(change.time),
        "texted": [
            {"when": one.notice.when, "at": rfc3339_from_instant(one.created)} for one in texted
        ],
        "headline": texted[0].notice.headline if texted else "",
        "value": None if value is None else value.value,
        "value_age_seconds": None if value is None else (state.time - value.time) / SECOND,
        "value_at_change": change.value,
        "limit": change.limit,
        "unit": change.unit,
        "sentence": change.sentence,
        "taken_by": change.by,
        "until": None if change.until is None else rfc3339_from_instant(change.until),
        "why": change.why,
        "response": "" if record is None else record.response,
        "next": _next(code, change.state, file),
    }


def value_now(state: Now, change: AlarmChanged) -> _Value | None:
    """What the alarm judges, as it is now; None where it judges no number, or none is known."""
    if change.value is None:
        return None
    strength = state.derived.get(f"{change.source}-strength")
    if change.unit == STRENGTH_UNIT:
        return None if strength is None else _Value(strength.value, strength.time)
    for name, sensor in state.plan.sensors.items():
        if change.source in (name, sensor.at) and SI_UNITS.get(sensor.measures) == change.unit:
            reading = state.readings.get(name)
            if reading is not None and reading.value is not None and _usable(reading):
                return _Value(reading.value, reading.time)
    return None


def outside(plan: DepotPlan, sensor: SensorPlan, reading: Reading) -> bool:
    """Is this reading beyond a limit that an alarm is judged by?"""
    value, unit = reading.value, SI_UNITS.get(sensor.measures)
    if value is None or not _usable(reading):
        return False
    return any(
        watch.condition.beyond(value)
        for watch in alarms_at(site_of(plan))
        if watch.condition.unit == unit and watch.condition.source in (sensor.id, sensor.at)
    )


def is_judged(state: Now, sources: Sequence[str]) -> bool:
    """Is there an alarm with a number about one of these already, whatever its state?"""
    return any(
        one.change.source in sources and one.change.value is not None for one in state.active
    )


def _usable(reading: Reading) -> bool:
    return reading.quality is not Quality.BAD


def _causes(state: Now, change: AlarmChanged) -> list[str]:
    """The active alarms that this one is a consequence of."""
    record = CATALOGUE.get(change.alarm)
    if change.state is not AlarmState.SUPPRESSED or record is None:
        return []
    active = {one.change.alarm for one in state.active if one.change.state in _ACTIVE}
    return [name for name in record.suppressed_by if name in active]


def _next(code: str, state: AlarmState, file: Path) -> str:
    """The command that somebody would give next; empty where nothing waits for a person."""
    verb = "take" if state in _WAITING else "reset" if state in _LATCHED else ""
    if not verb or not code:
        return ""
    elsewhere = "" if file == INSTALLED_CONFIG else f" --config {shlex.quote(str(file))}"
    return f"brineward {verb} {code}{elsewhere}"
