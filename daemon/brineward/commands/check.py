"""`brineward check CONFIG`: every mistake at once, or what the file says and what it covers."""

import argparse
import json
import sys
from collections.abc import Iterator, Sequence
from pathlib import Path
from typing import Any

from brineward.alarms.record import Coverage
from brineward.alarms.registry import CATALOGUE, coverage, remarks
from brineward.clock import MachineClock
from brineward.commands.config_file import add_config
from brineward.commands.rota_week import calendar_age_seconds, calendar_lines, rota_lines
from brineward.commands.wrapped import wrapped
from brineward.config.load import load_settings
from brineward.config.mistakes import ConfigMistakes, Mistake, written_file, written_key
from brineward.config.out_of_reach import out_of_reach
from brineward.config.remarks import remarks_on
from brineward.config.settings import SensorSource, Settings
from brineward.journal import DiskTrouble, Journal, JournalUnusable, is_there
from brineward.plant.buoyancy import empty_mass_kg, standing_in_containment
from brineward.plant.plan import DepotPlan, Vessel
from brineward.plant.seasons import HOUR_OF_DAY
from brineward.readings.instants import Instant
from brineward.records import Records
from brineward.texts.usable import unusable_channels
from brineward.wording.operator_units import level, measured

GOOD, MISTAKEN = 0, 2


def add_parser(subparsers: "argparse._SubParsersAction[argparse.ArgumentParser]") -> None:
    """Add `check` to the command line."""
    parser = subparsers.add_parser(
        "check",
        help="list every mistake in a config file, or what it covers",
        description="Reads a config file and lists every mistake in it at once. A file without "
        "mistakes is summed up: what each alarm is judged from, which alarms are "
        "blind, and warnings about what is not a mistake but weakens the watch. Ends "
        "with 0 if the file has no mistakes, with or without warnings, and with 2 if "
        "it has.",
    )
    add_config(parser)
    parser.add_argument("--json", action="store_true", help="the same as JSON, for programs")
    parser.set_defaults(run=run)


def run(arguments: argparse.Namespace) -> int:
    """Check the file; 0 where it is good, 2 where it has mistakes."""
    try:
        settings = load_settings(arguments.config)
    except ConfigMistakes as mistakes:
        _tell_mistakes(arguments.config, mistakes, as_json=arguments.json)
        return MISTAKEN
    if arguments.json:
        print(json.dumps(_summary(settings), indent=2))
    else:
        print("\n".join(_lines(settings)))
    return GOOD


def _tell_mistakes(file: Path, mistakes: ConfigMistakes, *, as_json: bool) -> None:
    if as_json:
        rows = [_mistake_row(mistake) for mistake in mistakes.mistakes]
        print(json.dumps({"file": written_file(file), "good": False, "mistakes": rows}, indent=2))
        return
    print(mistakes, file=sys.stderr)
    count = len(mistakes.mistakes)
    print(f"{count} mistake{'s' if count > 1 else ''} in this file.", file=sys.stderr)


def _mistake_row(mistake: Mistake) -> dict[str, Any]:
    return {
        "line": mistake.line,
        "key": written_key(mistake.key),
        "wrong": mistake.wrong,
        "expected": mistake.expected,
    }


def _lines(settings: Settings) -> Iterator[str]:
    yield f"{written_file(settings.file)}: no mistakes."
    yield f"Broker {settings.link.host}, port {settings.link.port}."
    yield f"Journal {written_file(settings.journal.path)}."
    for plan in settings.depots.values():
        yield ""
        yield from _depot_lines(settings, plan)
    yield from _listed("Warnings: not mistakes, but each weakens the watch", remarks_on(settings))
    yield from _listed(
        "Secrets and files that this command can't read; the service may, where it runs",
        _unusable(settings),
    )


def _unusable(settings: Settings) -> list[str]:
    return [*out_of_reach(settings), *unusable_channels(settings)]


def _listed(head: str, sentences: Sequence[str]) -> Iterator[str]:
    if sentences:
        yield ""
        yield f"{head}:"
    for sentence in sentences:
        yield from wrapped(sentence, "  - ", "    ")


def _depot_lines(settings: Settings, plan: DepotPlan) -> Iterator[str]:
    yield f"{plan.name} ({plan.short}), depot {plan.id}, times of {plan.zone}"
    people = ", then ".join(
        f"{settings.people[person].name} by {', '.join(settings.people[person].channels)}"
        for person in plan.duty.on_call
    )
    yield f"  Texts go to {people}."
    if len(plan.duty.on_call) > 1:
        yield f"  Each has {_duration(plan.duty.next_after_seconds)} to take an alarm."
    hour, minute = plan.duty.most_texts_an_hour, plan.duty.most_texts_a_minute
    yield (
        f"  Each gets at most {minute} texts a minute and {hour} an hour about this depot's alarms,"
        " not counting high ones."
    )
    for person, us in plan.duty.us_units.items():
        yield f"  Texts to {settings.people[person].name} are in {'US' if us else 'metric'} units."
    now = MachineClock().now()
    yield from rota_lines(plan, now)
    yield from (f"    {one}" for one in _calendar_lines(settings, plan, now))
    yield from _season_lines(plan)
    yield from _plant_lines(plan)
    yield f"  Sensors ({len(plan.sensors)}):"
    rows = [_sensor_row(plan, source) for source in settings.sources if source.depot == plan.id]
    yield from _columns(rows)
    yield "  Alarms, and what each is judged from:"
    yield from _columns([_coverage_row(plan, covered) for covered in coverage(plan)])
    for sentence in remarks(plan):
        yield from wrapped(sentence, "  ", "    ")
    unused = _sensors_without_alarm(plan)
    if unused:
        names = ", ".join(unused)
        yield f"  Recorded and watched for silence, but used by no alarm above: {names}."
    off = [alarm for alarm, setting in plan.alarms.items() if not setting.enabled]
    if off:
        yield f"  Switched off in this file: {', '.join(off)}."


def _calendar_lines(settings: Settings, plan: DepotPlan, now: Instant) -> Iterator[str]:
    """How old the rota's calendar is, where this command can see the journal."""
    if plan.id not in settings.calendars:
        return
    try:
        if not is_there(settings.journal.path):
            return
        with Journal.open(settings.journal.path, read_only=True) as journal:
            age = calendar_age_seconds(plan, Records(journal.handle), now)
    except (DiskTrouble, JournalUnusable) as why:
        yield f"How old the calendar is can't be said: {why}."
        return
    yield from calendar_lines(plan, age)


def _season_lines(plan: DepotPlan) -> Iterator[str]:
    """When its mode is set by itself, in the order of the year."""
    if plan.seasons.each:
        yield f"  Seasons, each from {HOUR_OF_DAY:02}:00 on its day; people may set another mode:"
        yield from _columns(
            [(f"{one.month:02}-{one.day:02}", one.mode.value) for one in plan.seasons.each]
        )


def _plant_lines(plan: DepotPlan) -> Iterator[str]:
    """Vessels and pumps in the depot's own units, so that a slip in one shows."""
    us = plan.us_units
    rows: list[tuple[str, ...]] = []
    for vessel in plan.vessels.values():
        said = f"brim {level(vessel.brim_m, us)}"
        if vessel.fill_mark_m is not None:
            said += f", filled to {level(vessel.fill_mark_m, us)}"
        said += _mass_said(plan, vessel)
        rows.append((vessel.id, plan.name_of(vessel.id), said))
    for pump in plan.pumps.values():
        said = (
            f"{measured(pump.flow_m3_per_s, 'm3/s', us)} from the {plan.name_of(pump.draws_from)}"
        )
        if pump.longest_run_seconds is not None:
            said += f", {_duration(pump.longest_run_seconds)} at most"
        rows.append((pump.id, plan.name_of(pump.id), said))
    if rows:
        yield "  Vessels and pumps:"
        yield from _columns(rows)


def _mass_said(plan: DepotPlan, vessel: Vessel) -> str:
    """What holds it down where it could float; what is only taken for it says so."""
    if vessel not in standing_in_containment(plan):
        return ""
    mass = measured(empty_mass_kg(vessel), "kg", plan.us_units)
    if vessel.empty_mass_kg is not None:
        return f", {mass} empty"
    return f", assumed to weigh {mass} empty, a light plastic tank of its size (give empty_mass)"


def _sensors_without_alarm(plan: DepotPlan) -> list[str]:
    used = {sensor for covered in coverage(plan) for sensor in covered.by}
    return [sensor for sensor in plan.sensors if sensor not in used]


def _sensor_row(plan: DepotPlan, source: SensorSource) -> tuple[str, ...]:
    sensor = plan.sensors[source.sensor]
    unit = "" if sensor.measures.is_switch else f" in {source.unit.name}"
    what = f"{sensor.measures.value} at {sensor.at}{unit}"
    return (
        sensor.id,
        plan.name_of(sensor.id),
        what,
        f"every {_duration(sensor.every_seconds)}",
        source.topic,
    )


def _coverage_row(plan: DepotPlan, covered: Coverage) -> tuple[str, ...]:
    alarm = f"{CATALOGUE[covered.alarm].title} ({covered.alarm}, {plan.name_of(covered.source)})"
    said = f"by {', '.join(covered.by)}" if covered.by else ""
    if covered.would_help:
        said += f"{'; ' if said else ''}would help: {covered.would_help}"
    return (covered.how, alarm, said)


def _columns(rows: list[tuple[str, ...]]) -> Iterator[str]:
    """The rows with every column but the last padded to its widest cell."""
    widths = [max(len(cell) for cell in column) for column in zip(*rows, strict=True)]
    for row in rows:
        cells = [cell.ljust(width) for cell, width in zip(row, widths, strict=True)]
        yield f"    {'  '.join(cells)}".rstrip()


def _duration(seconds: float) -> str:
    return f"{seconds:g} s" if seconds < 120 else f"{seconds / 60:g} min"


def _summary(settings: Settings) -> dict[str, Any]:
    return {
        "file": written_file(settings.file),
        "good": True,
        "hash": settings.hash,
        "depots": [_depot_summary(settings, plan) for plan in settings.depots.values()],
        "warnings": list(remarks_on(settings)),
        "secrets": _unusable(settings),
    }


def _depot_summary(settings: Settings, plan: DepotPlan) -> dict[str, Any]:
    return {
        "id": plan.id,
        "name": plan.name,
        "short": plan.short,
        "seasons": {one.mode.value: f"{one.month:02}-{one.day:02}" for one in plan.seasons.each},
        "on_call": [settings.people[person].name for person in plan.duty.on_call],
        "sensors": [
            {
                "id": source.sensor,
                "name": plan.name_of(source.sensor),
                "measures": source.measures.value,
                "at": plan.sensors[source.sensor].at,
                "topic": source.topic,
            }
            for source in settings.sources
            if source.depot == plan.id
        ],
        "coverage": [
            {
                "alarm": covered.alarm,
                "source": covered.source,
                "how": covered.how,
                "by": list(covered.by),
                "would_help": covered.would_help,
            }
            for covered in coverage(plan)
        ],
        "remarks": remarks(plan),
        "sensors_without_alarm": _sensors_without_alarm(plan),
        "switched_off": [alarm for alarm, setting in plan.alarms.items() if not setting.enabled],
    }
