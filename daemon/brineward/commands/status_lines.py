"""The status as lines for a person: own units, local times, what to do next."""

from collections.abc import Iterator
from typing import Any, Final

from brineward.config.settings import Settings
from brineward.plant.plan import DepotPlan, Measure
from brineward.quantities import format_quantity
from brineward.readings.instants import Instant, instant_from_rfc3339
from brineward.wording.operator_units import duration, level, percent, temperature

_SWITCH_WORDS: Final = {
    Measure.RUNNING: ("stopped", "running"),
    Measure.OPEN: ("shut", "open"),
    Measure.POWER: ("no power", "power"),
}
_UNITS: Final = {
    Measure.CONDUCTIVITY: ("mS/cm", "mS/cm", 1),
    Measure.DENSITY: ("kg/m3", "kg/m3", 1),
    Measure.PRESSURE: ("kPa", "psi", 1),
    Measure.FLOW: ("L/s", "gal/min", 1),
    Measure.CURRENT: ("A", "A", 1),
}
"""Metric unit, US unit, decimals."""

_CAPITALS: Final = frozenset({"high"})  # priorities that are written to be seen first


def lines(settings: Settings, found: dict[str, Any], now: Instant) -> Iterator[str]:
    """What `status.gather` found, line by line."""
    yield from _service_lines(found["service"])
    for row in found["depots"]:
        yield ""
        yield from _depot_lines(settings.depots[row["id"]], row, now)
    disk = found["disk"]
    yield ""
    yield (
        f"Journal {_size(disk['journal_bytes'])}, write-ahead file {_size(disk['wal_bytes'])}; "
        f"{_size(disk['free_bytes'])} free on its disk"
        + ("." if disk["verdict"] == "room" else ": LOW, make room.")
    )


def _service_lines(service: dict[str, Any]) -> Iterator[str]:
    age = service["heartbeat_age_seconds"]
    if age is None:
        yield "SERVICE: no sign of life in this journal yet. Start it: brineward run CONFIG"
    elif service["alive"]:
        yield f"Service alive, last sign {duration(age)} ago (version {service['version']})."
    else:
        yield f"SERVICE SILENT for {duration(age)}: is it running? Nobody is watching the depots."
    if not service["same_config"]:
        yield "The config file has changed since the service started; it runs with the older one."
    if service["link_up"] is None:
        yield "Never connected to the broker yet."
    elif not service["link_up"]:
        why = f" ({_printable(service['link_why'])})" if service["link_why"] else ""
        yield f"BROKER NOT CONNECTED since {service['link_changed']}{why}: no readings come in."
    elif service["alive"]:
        yield f"Connected to the broker since {service['link_changed']}."


def _depot_lines(plan: DepotPlan, row: dict[str, Any], now: Instant) -> Iterator[str]:
    yield f"{plan.name} ({plan.short})"
    standing = [alarm for alarm in row["alarms"] if alarm["standing"]]
    if not standing:
        yield "  No alarm stands."
    for alarm in row["alarms"]:
        yield from _alarm_lines(plan, alarm, now)
    for strength in row["strengths"]:
        yield "  " + _strength_line(plan, strength)
    rows = [_sensor_row(plan, sensor) for sensor in row["sensors"]]
    width = max((len(name) for name, _ in rows), default=0)
    yield from (f"  {name.ljust(width)}  {said}" for name, said in rows)
    texts = row["texts"]
    if texts["open"] or texts["dead"]:
        yield f"  Texts: {texts['open']} waiting to be sent, {texts['dead']} given up."
    for one in row["refused"]:
        at = plan.units.clock_time(instant_from_rfc3339(one["last"]), now)
        sensor = _printable(one["sensor"]) or "an unknown topic"
        yield f"  Refused from {sensor}: {one['count']} ({one['reason']}), last {at}."
    for sensor, count in row["contradicted"].items():
        yield f"  {_printable(sensor)} gave two values for one instant {count} times."


def _alarm_lines(plan: DepotPlan, alarm: dict[str, Any], now: Instant) -> Iterator[str]:
    if not alarm["standing"]:
        yield f"  Quiet under its cause: {alarm['alarm']} ({alarm['source']})."
        return
    priority = alarm["priority"]
    priority = priority.upper() if priority in _CAPITALS else priority
    since = plan.units.clock_time(instant_from_rfc3339(alarm["since"]), now)
    state = alarm["state"] + (f", by {_printable(alarm['taken_by'])}" if alarm["taken_by"] else "")
    sentence = _printable(alarm["sentence"]).rstrip(".")
    head = " ".join(part for part in (alarm["code"], priority) if part)
    yield f"  {head}: {sentence}. Since {since}; {state}."
    if alarm["response"] and alarm["state"] != "returned unacknowledged":
        yield f"      {alarm['response']}"
    if alarm["next"]:
        yield f"      If you have it: {_printable(alarm['next'])}"


def _strength_line(plan: DepotPlan, row: dict[str, Any]) -> str:
    said = f"{row['vessel']} strength {percent(row['mass_fraction'])} %"
    if row["interval_95"] is not None:
        low, high = (percent(end) for end in row["interval_95"])
        said += f" ({low} to {high}, 95 %)"
    coldest, warmest = (temperature(end, plan.us_units) for end in row["freezing_interval_c"])
    first = "ice" if row["first_solid"] == "ice" else "salt crystals"
    said += f", first {first} at "
    said += temperature(row["freezing_point_c"], plan.us_units)
    if coldest != warmest:
        said += f" ({coldest} to {warmest})"
    return f"{said}, {_ago(row['age_seconds'])}"


def _sensor_row(plan: DepotPlan, row: dict[str, Any]) -> tuple[str, str]:
    if row["age_seconds"] is None:
        return row["id"], "nothing heard yet"
    said = _value(plan, Measure(row["measures"]), row["value"])
    if row["quality"] != "good":
        said += f" ({row['quality']}{': ' if row['reason'] else ''}{_printable(row['reason'])})"
    silent = "  SILENT" if row["silent"] else ""
    return row["id"], f"{said}, {_ago(row['age_seconds'])}{silent}"


def _value(plan: DepotPlan, measures: Measure, value: float | None) -> str:
    if value is None:
        return "no value"
    if measures.is_switch:
        return _SWITCH_WORDS[measures][value >= 0.5]
    if measures is Measure.TEMPERATURE:
        return temperature(value, plan.us_units)
    if measures in (Measure.LEVEL, Measure.SALT_LEVEL):
        return level(value, plan.us_units)
    metric, us, decimals = _UNITS[measures]
    return format_quantity(value, us if plan.us_units else metric, decimals=decimals)


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
