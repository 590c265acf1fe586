"""The depot in one text: its state, more about an alarm, who has been told. For phones and pages.

Each is one segment of the GSM alphabet; what is missing from the readings is left out.
"""

from collections.abc import Iterator, Sequence

from brineward.alarms.registry import CATALOGUE
from brineward.plant.plan import DepotPlan, Measure
from brineward.readings.instants import MINUTE, SECOND, Instant
from brineward.readings.outputs import AlarmChanged, AlarmState, Derived
from brineward.readings.values import Quality, Reading
from brineward.records.records import Records
from brineward.wording.gsm import Part, fit_segment
from brineward.wording.operator_units import amount, measured, percent, temperature

_TREND = 30 * MINUTE
_OLDEST = 30 * MINUTE
_CODES_NAMED = 4
_MEASURED = {
    Measure.LEVEL: "m",
    Measure.SALT_LEVEL: "m",
    Measure.TEMPERATURE: "degC",
    Measure.PRESSURE: "Pa",
    Measure.FLOW: "m3/s",
    Measure.CURRENT: "A",
}


def status_text(plan: DepotPlan, records: Records, now: Instant) -> str:
    """Strength, what is left, temperatures, and what is active."""
    latest = records.readings.latest(plan.id, now)
    codes = _active_codes(plan, records)
    active = f"Active: {_listed(codes)}." if codes else "No alarm is active."
    found = [one for one in _figures(plan, records, latest, now) if one]
    said = f"{', '.join(found)}." if found else "No fresh readings."
    return fit_segment(
        [
            Part(text=f"{plan.name}:", rank=0, name=True),
            Part(text=said, rank=1),
            Part(text=active, rank=0, whole=True),
        ]
    )


def more_text(
    plan: DepotPlan, records: Records, number: int, now: Instant, *, person: str = ""
) -> str:
    """The numbers of an occurrence, and how they went in the last half hour.

    Where its last text to the person named it among several, what to do comes first.
    """
    code = plan.code(number)
    changes = [c for c in records.alarms.history(plan.id) if c.number == number]
    if not changes:
        return f"{code} was never raised."
    last = next((one for one in reversed(changes) if one.value is not None), changes[-1])
    gone = changes[-1].state in (AlarmState.NORMAL, AlarmState.RETURNED_UNACKNOWLEDGED)
    began, at = (plan.units.clock_time(one.time, now) for one in (changes[0], last))
    trends = list(_trends(plan, records, last.source, now))
    response = "" if gone else _response(plan, last)
    unread = _only_among_several(plan, records, last, person)
    said = f"{last.sentence[:1].upper()}{last.sentence[1:]}."
    if gone:
        said = f"{said} {began}-{plan.units.clock_time(changes[-1].time, now)}, cleared."
    return fit_segment(
        [
            # What it says may be some while old: "140 F in 10 min" is from when it was raised.
            Part(text=f"{code}:" if gone else f"{code} at {at}:", rank=0, whole=True),
            Part(text=said, rank=0),
            Part(text=response, rank=0 if unread else 3, whole=True),
            *(
                Part(text=f"{'Now' if place == 0 else 'And'} {trend}.", rank=1 + place)
                for place, trend in enumerate(trends)
            ),
            Part(text="" if trends else "No fresh readings of it.", rank=1),
            Part(text="" if gone or began == at else f"Began {began}.", rank=2),
        ]
    )


def _response(plan: DepotPlan, change: AlarmChanged) -> str:
    """What to do; empty where the alarm is none of this version's."""
    record = CATALOGUE.get(change.alarm)
    return "" if record is None else plan.units.in_units(record.text_response)


def _only_among_several(
    plan: DepotPlan, records: Records, change: AlarmChanged, person: str
) -> bool:
    """Has the person read of the alarm among several alone, without what to do?"""
    told = [o.kind for o in records.texts.about(plan.id, change.number) if o.person == person]
    return told[-1:] == ["several"]


def who_text(plan: DepotPlan, records: Records, number: int, now: Instant) -> str:
    """Who has taken an occurrence and who was texted about it; without a number, who is on call."""
    if not number:
        return on_call_text(plan, records, now)
    code, names = plan.code(number), plan.duty.names
    told = {
        names.get(one.person, one.person): one.state
        for one in records.texts.about(plan.id, number)
        if one.kind in ("raised", "again", "several")
    }
    failed = [name for name, state in told.items() if state == "dead"]
    reached = [name for name, state in told.items() if state != "dead"]
    changes = [c for c in records.alarms.history(plan.id) if c.number == number]
    if not changes:
        return f"{code} was never raised."
    taken = changes[-1].state in (AlarmState.ACKNOWLEDGED, AlarmState.LATCHED_ACKNOWLEDGED)
    by = next((c.by for c in reversed(changes) if c.by), "") if taken else ""
    return fit_segment(
        [
            Part(text=f"{code}:", rank=0, whole=True),
            Part(text=f"{by} has it." if by else "Nobody has it.", rank=0, whole=True),
            Part(text=_texted(reached), rank=1),
            Part(text=f"Not reached: {', '.join(failed)}." if failed else "", rank=2),
        ]
    )


def on_call_text(plan: DepotPlan, records: Records, now: Instant) -> str:
    """Who is on call now, until when, who is next and who comes after."""
    found = records.rota.on_call(plan, now)
    names = plan.duty.names
    first = found.on_duty or "nobody"
    end = ""
    if found.until is not None:
        end = f" until {plan.units.clock_time(found.until, now)}"
        end += f", then {names.get(found.next, found.next) or 'nobody'}"
    others = [names.get(one, one) for one in found.order if one != found.on_duty]
    return fit_segment(
        [
            Part(text=f"{plan.name}:", rank=0, name=True),
            Part(text=f"on call is {names.get(first, first)}{end}.", rank=0),
            Part(text=f"If no answer: {', '.join(others)}." if others else "", rank=1),
        ]
    )


def _listed(codes: list[str]) -> str:
    more = len(codes) - _CODES_NAMED
    return ", ".join(codes[:_CODES_NAMED]) + (f" and {more} more" if more > 0 else "")


def _active_codes(plan: DepotPlan, records: Records) -> list[str]:
    shown = (
        AlarmState.UNACKNOWLEDGED,
        AlarmState.ACKNOWLEDGED,
        AlarmState.LATCHED_UNACKNOWLEDGED,
        AlarmState.LATCHED_ACKNOWLEDGED,
    )
    found = [one.change for one in records.alarms.active(plan.id) if one.change.state in shown]
    found.sort(key=lambda change: (-change.priority.rank, change.number))
    return [plan.code(change.number) for change in found]


def _is_fresh(reading: Reading | None, now: Instant) -> bool:
    fresh = reading is not None and now - reading.time <= _OLDEST
    return fresh and reading is not None and reading.quality is not Quality.BAD


def _figures(
    plan: DepotPlan, records: Records, latest: dict[str, Reading], now: Instant
) -> Iterator[str]:
    us = plan.us_units
    derived = records.derived.latest(plan.id, now)
    for vessel in plan.vessels.values():
        if not vessel.holds_brine:
            continue
        name = plan.name_of(vessel.id)
        strength = derived.get(f"{vessel.id}-strength")
        if strength is not None and now - strength.time <= _OLDEST:
            yield f"{name} {_sure(strength)}"
        sensor = plan.sensor_of(Measure.LEVEL, vessel.id)
        reading = latest.get(sensor.id) if sensor else None
        if reading is not None and reading.value is not None and _is_fresh(reading, now):
            level_m = min(max(reading.value, 0.0), vessel.brim_m)
            yield f"{amount(vessel.shape.volume_m3(level_m), us)} left"
    for sensor in plan.sensors.values():
        reading = latest.get(sensor.id)
        if sensor.measures is not Measure.TEMPERATURE or reading is None:
            continue
        if reading.value is not None and _is_fresh(reading, now):
            at = "outdoors" if sensor.at == "outdoors" else plan.name_of(sensor.at)
            yield f"{at} {temperature(reading.value, us)}"


def _sure(strength: Derived) -> str:
    """A strength with how sure it is: without a test by hand, that it has none."""
    said = f"{percent(strength.value)} %"
    if strength.low_95 is not None and strength.high_95 is not None:
        said += f" ({percent(strength.low_95)}-{percent(strength.high_95)})"
    return said if strength.calibrated else f"{said} untested"


def _trends(plan: DepotPlan, records: Records, source: str, now: Instant) -> Iterator[str]:
    """What each sensor at a place says now, and how much that is more or less than before."""
    us = plan.us_units
    for sensor in plan.sensors.values():
        if source not in (sensor.at, sensor.id) or sensor.measures not in _MEASURED:
            continue
        found = records.readings.between(plan.id, sensor.id, now - _TREND, now + SECOND)
        values = [(one.time, one.value) for one in found if one.value is not None]
        if not values:
            continue
        (began, first), (at, value) = values[0], values[-1]
        unit = _MEASURED[sensor.measures]
        before, said = measured(first, unit, us), measured(value, unit, us)
        minutes = (at - began) // MINUTE
        was = f" ({minutes} min ago {before})" if before != said and minutes else " (steady)"
        yield f"{plan.name_of(sensor.id)} {said}{was}"


def _texted(reached: Sequence[str]) -> str:
    return f"Texted: {', '.join(reached)}." if reached else "Nobody was texted."
