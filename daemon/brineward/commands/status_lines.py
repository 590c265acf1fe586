"""The status as lines for a person: the depot's units, one local clock, what to do next."""

from collections.abc import Iterator
from typing import Any, Final

from brineward.commands.local_clock import LocalClock
from brineward.commands.mode_lines import mode_line
from brineward.commands.rota_week import calendar_lines
from brineward.config.settings import Settings
from brineward.plant.plan import SI_UNITS, DepotPlan, Measure
from brineward.readings.instants import Instant, instant_from_rfc3339
from brineward.readings.outputs import AlarmState
from brineward.records.alarm_now import STRENGTH_UNIT
from brineward.wording.operator_units import duration, measured, percent, temperature

_SWITCH_WORDS: Final = {
    Measure.RUNNING: ("stopped", "running"),
    Measure.OPEN: ("shut", "open"),
    Measure.POWER: ("no power", "power"),
}
_CAPITALS: Final = frozenset({"high"})  # priorities that are written to be seen first
_NOT_JUDGED: Final = "outside its band, not judged yet"
_STALE_SECONDS: Final = 120.0
_FULL_BYTES: Final = 1_000_000


def lines(settings: Settings, found: dict[str, Any], now: Instant) -> Iterator[str]:
    """What `status.gather` found, line by line; all times are on the depots' own clock."""
    zones = {str(plan.zone): LocalClock(plan.zone, now) for plan in settings.depots.values()}
    clock = next(iter(zones.values()))
    yield from _service_lines(found["service"], found["disk"], clock)
    yield f"It is {clock.day_and_time(now)}, times of {clock.zone_name}."
    for row in found["depots"]:
        plan = settings.depots[row["id"]]
        own = zones[str(plan.zone)]
        yield ""
        yield f"{plan.name} ({plan.short})" + (
            "" if own is clock else f", times of {own.zone_name}"
        )
        yield from _depot_lines(plan, row, own)
    yield ""
    yield _disk_line(found["disk"])
    yield from map(_export_line, found["exports"])
    if found["unreadable_rows"] or found["rows_set_aside"]:
        yield (
            f"The journal holds {found['unreadable_rows']} rows that can't be read, which are "
            f"passed over, and {found['rows_set_aside']} that were set aside."
        )


def _disk_line(disk: dict[str, Any]) -> str:
    said = (
        f"Journal {_size(disk['journal_bytes'])}, write-ahead file {_size(disk['wal_bytes'])}; "
        f"{_size(disk['free_bytes'])} free on its disk"
    )
    if _is_full(disk):
        return (
            f"{said}: THE DISK IS FULL. Nothing new is stored, so all above is from before; alarms "
            "still go out by text for some minutes. Make room now."
        )
    return said + ("." if disk["verdict"] == "room" else ": LOW, make room.")


def _export_line(export: dict[str, Any]) -> str:
    said = f"Export {export['name']}: "
    if export["entries_behind"]:
        said += f"{export['entries_behind']:,} entries behind"
        if export["behind_seconds"] is not None:
            said += f", the oldest from {duration(max(export['behind_seconds'], 0.0))} ago"
    else:
        said += "everything is sent"
    if export["points_set_aside"]:
        said += f"; {export['points_set_aside']:,} points refused and set aside"
    return said + (f". {export['why']}." if export["why"] else ".")


def _is_full(disk: dict[str, Any]) -> bool:
    return bool(disk["free_bytes"] < _FULL_BYTES and not disk["reserve_bytes"])


def _service_lines(
    service: dict[str, Any], disk: dict[str, Any], clock: LocalClock
) -> Iterator[str]:
    age = service["heartbeat_age_seconds"]
    if age is None:
        yield "SERVICE: no sign of life in this journal yet. Start it: brineward run CONFIG"
    elif service["alive"]:
        version = service["version"]
        yield f"Service alive, last sign {duration(max(age, 0.0))} ago (version {version})."
    elif service["stopped"] is not None:
        at = clock.time(instant_from_rfc3339(service["stopped"]))
        yield f"SERVICE STOPPED at {at}: nobody is watching the depots. Start it again."
    elif _is_full(disk):
        yield (
            f"No sign of the service for {duration(abs(age))}: the full disk can't store one, or "
            "the service is down."
        )
    elif age < 0:
        yield (
            f"SERVICE SILENT since the clock was set back: its last sign is {duration(-age)} ahead "
            "of now. Is it running? Nobody is watching the depots."
        )
    else:
        yield f"SERVICE SILENT for {duration(age)}: is it running? Nobody is watching the depots."
    if not service["same_config"] and service["stopped"] is None:
        yield "The config file has changed since the service started; it runs with the older one."
    if service["link_up"] is None:
        yield "Never connected to the broker yet."
        return
    since = clock.time(instant_from_rfc3339(service["link_changed"]))
    if not service["link_up"]:
        why = f" ({_printable(service['link_why'])})" if service["link_why"] else ""
        yield f"BROKER NOT CONNECTED since {since}{why}: no readings come in."
    elif service["alive"]:
        yield f"Connected to the broker since {since}."


def _depot_lines(plan: DepotPlan, row: dict[str, Any], clock: LocalClock) -> Iterator[str]:
    yield f"  {mode_line(plan, row['mode'], clock)}"
    if not any(alarm["active"] for alarm in row["alarms"]):
        yield "  No active alarms."
    for alarm in row["alarms"]:
        yield from _alarm_lines(plan, alarm, clock)
    for why, dangers in (row["unwatched"] or {}).items():
        yield f"  Nobody watches for {', '.join(dangers)}: {why}."
    for strength in row["strengths"]:
        yield "  " + _strength_line(plan, strength)
    rows = [_sensor_row(plan, sensor) for sensor in row["sensors"]]
    width = max((len(name) for name, _ in rows), default=0)
    yield from (f"  {name.ljust(width)}  {said}" for name, said in rows)
    yield from (f"  {one}" for one in calendar_lines(plan, row["calendar_age_seconds"]))
    texts = row["texts"]
    if texts["open"] or texts["dead"]:
        yield f"  Texts: {texts['open']} waiting to be sent, {texts['dead']} given up."
    for one in row["refused"]:
        at = clock.time(instant_from_rfc3339(one["last"]))
        sensor = _printable(one["sensor"]) or "an unknown topic"
        yield f"  Refused from {sensor}: {one['count']} ({one['reason']}), last {at}."
    for sensor, count in row["contradicted"].items():
        yield f"  {_printable(sensor)} gave two values for one instant {count} times."


def _alarm_lines(plan: DepotPlan, alarm: dict[str, Any], clock: LocalClock) -> Iterator[str]:
    about = f"{alarm['alarm']} ({_printable(alarm['source'])})"
    changed = clock.time(instant_from_rfc3339(alarm["changed"]))
    if not alarm["active"] and not alarm["unacknowledged"]:
        held = _held(alarm, clock)
        code = "" if alarm["state"] == AlarmState.SUPPRESSED else _join(alarm["code"])
        yield f"  {code}{held[:1].upper()}{held[1:]}: {about}."
        return
    if not alarm["active"]:
        head = _printable(alarm["headline"]) or _printable(alarm["sentence"]).rstrip(".")
        yield f"  {_join(alarm['code'])}{head}: cleared at {changed}, not acknowledged."
    else:
        priority = alarm["priority"]
        priority = priority.upper() if priority in _CAPITALS else priority
        yield (
            f"  {_join(alarm['code'], priority)}{_what(plan, alarm, changed)}. "
            f"{_since(alarm, clock)}, {_state(alarm)}."
        )
        if alarm["response"]:
            yield f"      {alarm['response']}"
    if alarm["next"]:
        begin = "If you have it" if alarm["unacknowledged"] else "When it has been dealt with"
        yield f"      {begin}: {_printable(alarm['next'])}"


def _held(alarm: dict[str, Any], clock: LocalClock) -> str:
    """What holds an alarm back, who says so, until when and why."""
    causes = " and ".join(alarm["suppressed_by"])
    if causes:
        return f"suppressed by {causes}"
    said = str(alarm["state"])
    if alarm["until"] is not None:
        said += f" until {clock.time(instant_from_rfc3339(alarm['until']))}"
    if alarm["taken_by"] and said != AlarmState.SUPPRESSED:
        said += f" by {_printable(alarm['taken_by'])}"
    return said + (f" ({_printable(alarm['why'])})" if alarm["why"] else "")


def _join(*parts: str) -> str:
    joined = " ".join(part for part in parts if part)
    return f"{joined}: " if joined else ""


def _what(plan: DepotPlan, alarm: dict[str, Any], changed: str) -> str:
    """What is wrong, with the value as it is now and not as it was when the alarm was raised."""
    sentence = _printable(alarm["sentence"]).rstrip(".")
    if alarm["value"] is None:
        known = alarm["value_at_change"] is not None and alarm["limit"] is not None
        return f"{sentence} (at {changed}; no value now)" if known else sentence
    head = _printable(alarm["headline"]) or sentence.split(",")[0]
    age = alarm["value_age_seconds"]
    when = "now" if age <= _STALE_SECONDS else f"{_ago(age)}"
    said = f"{head}: {when} {_quantity(plan, alarm, alarm['value'])}"
    if alarm["limit"] is not None:
        said += f", limit {_quantity(plan, alarm, alarm['limit'])}"
    return said


def _quantity(plan: DepotPlan, alarm: dict[str, Any], value: float) -> str:
    if alarm["unit"] == STRENGTH_UNIT:
        return f"{percent(value)} %"
    return measured(value, alarm["unit"], plan.us_units)


def _since(alarm: dict[str, Any], clock: LocalClock) -> str:
    """Since when, in the words that were texted where there was a text."""
    for one in alarm["texted"]:
        if one["when"]:
            at = instant_from_rfc3339(one["at"])
            when = _printable(one["when"]).rstrip(".")
            return when if clock.is_today(at) else f"{when}, as texted {clock.time(at)}"
    return f"Since {clock.time(instant_from_rfc3339(alarm['since']))}"


def _state(alarm: dict[str, Any]) -> str:
    by = f" by {_printable(alarm['taken_by'])}" if alarm["taken_by"] else ""
    return ("not acknowledged" if alarm["unacknowledged"] else alarm["state"]) + by


def _strength_line(plan: DepotPlan, row: dict[str, Any]) -> str:
    said = f"{row['vessel']} strength {percent(row['mass_fraction'])} %"
    if row["interval_95"] is not None:
        low, high = (percent(end) for end in row["interval_95"])
        said += f" ({low} to {high}, 95 %)"
    elif row["standard_uncertainty"] is not None:
        said += f" (standard uncertainty {percent(row['standard_uncertainty'])} %)"
    first = "ice" if row["first_solid"] == "ice" else "salt crystals"
    said += f", first {first} at {temperature(row['freezing_point_c'], plan.us_units)}"
    if row["freezing_interval_c"] is not None:
        coldest, warmest = (temperature(x, plan.us_units) for x in row["freezing_interval_c"])
        said += f" ({coldest} to {warmest})" if coldest != warmest else ""
    said += f", {_ago(row['age_seconds'])}"
    return said + (f"  {_NOT_JUDGED}" if row["not_judged_yet"] else "")


def _sensor_row(plan: DepotPlan, row: dict[str, Any]) -> tuple[str, str]:
    if row["age_seconds"] is None:
        return row["id"], "nothing heard yet"
    said = _value(plan, Measure(row["measures"]), row["value"])
    if row["quality"] != "good":
        said += f" ({row['quality']}{': ' if row['reason'] else ''}{_printable(row['reason'])})"
    said += f", {_ago(row['age_seconds'])}"
    if row["silent"]:
        return row["id"], f"{said}  SILENT"
    return row["id"], said + (f"  {_NOT_JUDGED}" if row["not_judged_yet"] else "")


def _value(plan: DepotPlan, measures: Measure, value: float | None) -> str:
    if value is None:
        return "no value"
    if measures.is_switch:
        return _SWITCH_WORDS[measures][value >= 0.5]
    return measured(value, SI_UNITS[measures], plan.us_units)


def _ago(seconds: float) -> str:
    if seconds < 0:
        return f"{duration(-seconds)} ahead of this clock"
    return f"{duration(seconds)} ago"


def _size(count: int) -> str:
    if count < 1_000_000:
        return f"{count / 1000:.0f} kB"
    return f"{count / 1e6:,.1f} MB" if count < 1_000_000_000 else f"{count / 1e9:,.1f} GB"


def _printable(text: str) -> str:
    """What came from outside must not move a terminal's cursor."""
    return "".join(sign if sign.isprintable() else "?" for sign in text)
