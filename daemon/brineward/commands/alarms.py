"""`brineward alarms [CONFIG]`: the catalogue of alarms, from the same records that raise them."""

import argparse
import json
import os
import sys
from collections.abc import Iterator, Mapping, Sequence
from typing import Any

from brineward.alarms.causes import Cause, causes_in
from brineward.alarms.record import AlarmRecord
from brineward.alarms.registry import CATALOGUE, ConfiguredAlarm, alarms_at, site_of
from brineward.commands.alarm_figures import print_figures
from brineward.commands.config_file import INSTALLED_CONFIG, add_config
from brineward.commands.span import add_span
from brineward.commands.which_journal import add_journal, now_in, settings_of
from brineward.commands.wrapped import wrapped
from brineward.journal import DiskTrouble, Journal, JournalUnusable, is_there
from brineward.plant.plan import DepotPlan
from brineward.readings.instants import Instant, local_from_instant, rfc3339_from_instant
from brineward.readings.outputs import AlarmChanged, AlarmState
from brineward.records import Records
from brineward.wording.operator_units import in_units, measured

_Held = Mapping[tuple[str, str, str], AlarmChanged]
"""What is shelved or out of service, by depot, alarm and source."""


def add_parser(subparsers: "argparse._SubParsersAction[argparse.ArgumentParser]") -> None:
    """Add `alarms` to the command line."""
    parser = subparsers.add_parser(
        "alarms",
        help="every alarm: cause, consequence, response, limits and delays",
        description="Prints the catalogue of alarms: for each its cause and consequence, what to "
        "do and how soon, its delays and limits and where they come from. With a "
        "config file, named or installed, also where each alarm is watched and the "
        "values that apply there.",
    )
    add_config(parser)
    parser.add_argument(
        "--causes",
        action="store_true",
        help="only which alarm holds back which: the consequences of a cause that has already "
        "been announced",
    )
    parser.add_argument("--json", action="store_true", help="the same as JSON, for programs")
    parser.add_argument(
        "--figures",
        action="store_true",
        help="instead: how the alarms have performed, in the measures of ISA-18.2, from the "
        "journal",
    )
    add_span(parser, since="30 d")
    add_journal(parser)
    parser.set_defaults(run=run)


def run(args: argparse.Namespace) -> int:
    """Print the catalogue, the causes or the figures; 0, or 2 where the journal can't be read.

    Raises: ConfigMistakes where the file has some.
    """
    if args.causes:
        causes = causes_in(CATALOGUE)
        found = {
            cause.record.id: [one.id for one in (*cause.holds_back, *cause.announced_once)]
            for cause in causes
        }
        print(json.dumps({"causes": found}, indent=2) if args.json else causes_page(causes))
        return 0
    if args.figures:
        settings = settings_of(args)
        try:
            now = now_in(args, settings)
        except (DiskTrouble, JournalUnusable) as why:
            print(why, file=sys.stderr)
            return 2
        return print_figures(settings, args.since, args.until, now, as_json=args.json)
    depots, held = _depots_and_held(args)
    if args.json:
        rows = [_record_as_json(record, depots, held) for record in CATALOGUE.values()]
        print(json.dumps({"alarms": rows}, indent=2))
        return 0
    for record in CATALOGUE.values():
        print("\n".join(_record_lines(record, depots, held)))
        print()
    return 0


def _depots_and_held(args: argparse.Namespace) -> tuple[Mapping[str, DepotPlan], _Held]:
    """The config's depots, and what people hold back there by its journal.

    None where nobody named a file and none is installed for us to read; a journal that can't be
    read, or isn't there yet, holds nothing back: `brineward status` says what is wrong with it.
    """
    if args.config == INSTALLED_CONFIG and not os.access(args.config, os.R_OK):
        return {}, {}
    settings = settings_of(args)
    try:
        if not is_there(settings.journal.path):
            return settings.depots, {}
        with Journal.open(settings.journal.path, read_only=True) as journal:
            changes = [one.change for one in Records(journal.handle).alarms.active()]
    except (DiskTrouble, JournalUnusable):
        return settings.depots, {}
    by_people = (AlarmState.SHELVED, AlarmState.OUT_OF_SERVICE)
    held = {
        (change.depot, change.alarm, change.source): change
        for change in changes
        if change.state in by_people
    }
    return settings.depots, held


def _watched(alarm: str, plan: DepotPlan) -> list[ConfiguredAlarm]:
    return [watch for watch in alarms_at(site_of(plan)) if watch.record.id == alarm]


# -- for a person


def causes_page(causes: Sequence[Cause]) -> str:
    """Causes and the alarms that each holds back, a line each, as plain Markdown."""
    lines = []
    for cause in causes:
        lines += ["", f"{cause.record.title} (`{cause.record.id}`) holds back:", ""]
        lines += [f"- {one.title} (`{one.id}`){_unless(one)}" for one in cause.holds_back]
        lines += [
            f"- {one.title} (`{one.id}`), once it has been announced"
            for one in cause.announced_once
        ]
    return "\n".join(lines).strip()


def _unless(record: AlarmRecord) -> str:
    """When its causes hold it back no longer."""
    when = record.speaks_up_when
    return f", unless {when}" if when else ""


def _record_lines(
    record: AlarmRecord, depots: Mapping[str, DepotPlan], held: _Held
) -> Iterator[str]:
    # Without a config, or where depots differ, quantities are metric.
    us = bool(depots) and all(plan.us_units for plan in depots.values())
    yield f"{record.title} ({record.id}), priority {record.priority}"
    yield from _paragraph("Cause", record.cause, us)
    yield from _paragraph("Consequence", record.consequence, us)
    yield from _paragraph("Response", record.response, us)
    yield from _paragraph("Respond within", f"{record.respond_within}.", us)
    yield from _paragraph("Text says", record.text_response, us)
    if record.text_afterwards:
        yield from _paragraph("Text says when it has cleared", record.text_afterwards, us)
    delays = f"on {_seconds(record.on_delay_seconds)}, off {_seconds(record.off_delay_seconds)}"
    yield from _paragraph("Delays", f"{delays}.", us)
    if record.limit is not None:
        yield from _paragraph("Limit", f"{_quantity(record.limit, record.limit_unit, us)}.", us)
    if record.deadband:
        unit = "K" if record.limit_unit == "degC" else record.limit_unit
        yield from _paragraph("Deadband", f"{_quantity(record.deadband, unit, us)}.", us)
    if record.latched:
        yield from _paragraph("Latched", "stays until somebody resets it.", us)
    if record.suppressed_by:
        by = f"{', '.join(record.suppressed_by)}{_unless(record)}."
        yield from _paragraph("Suppressed by", by, us)
    yield from _paragraph("Basis", record.basis, us)
    for plan in depots.values():
        yield from _paragraph(f"At {plan.name}", _where(record, plan, held), us)


def _quantity(value: float, unit: str, us: bool) -> str:
    return _seconds(value) if unit == "s" else measured(value, unit, us)


def _paragraph(head: str, text: str, us: bool) -> list[str]:
    said = in_units(text.strip(), us)
    return wrapped(f"{head}: {said}", "  ", "    ")


def _where(record: AlarmRecord, plan: DepotPlan, held: _Held) -> str:
    watched = _watched(record.id, plan)
    if not watched:
        settings = plan.alarms.get(record.id)
        off = settings is not None and not settings.enabled
        return "switched off in this file." if off else "not watched; see `brineward check`."
    return "; ".join(_place(watch, plan, held) for watch in watched) + "."


def _place(watch: ConfiguredAlarm, plan: DepotPlan, held: _Held) -> str:
    condition = watch.condition
    said = [condition.name]
    if condition.limit is not None:
        said.append(f"limit {condition.units.measured(condition.limit, condition.unit)}")
    if watch.priority is not watch.record.priority:
        said.append(f"priority {watch.priority}")
    if watch.on_delay_seconds != watch.record.on_delay_seconds:
        said.append(f"on-delay {_seconds(watch.on_delay_seconds)}")
    if watch.off_delay_seconds != watch.record.off_delay_seconds:
        said.append(f"off-delay {_seconds(watch.off_delay_seconds)}")
    change = held.get((plan.id, watch.record.id, condition.source))
    if change is not None:
        until = "" if change.until is None else f" until {_local(change.until, plan)}"
        why = f" ({change.why})" if change.why else ""
        said.append(f"{change.state}{until} by {change.by}{why}")
    return ", ".join(said)


def _local(instant: Instant, plan: DepotPlan) -> str:
    return f"{local_from_instant(instant, plan.zone):%a %Y-%m-%d %H:%M}"


def _seconds(seconds: float) -> str:
    return f"{seconds:g} s" if seconds < 120 else f"{seconds / 60:g} min"


# -- for a program


def _record_as_json(
    record: AlarmRecord, depots: Mapping[str, DepotPlan], held: _Held
) -> dict[str, Any]:
    return {
        "id": record.id,
        "title": record.title,
        "priority": record.priority,
        "cause": record.cause,
        "consequence": record.consequence,
        "response": record.response,
        "respond_within": record.respond_within,
        "text_response": record.text_response,
        "text_afterwards": record.text_afterwards,
        "on_delay_seconds": record.on_delay_seconds,
        "off_delay_seconds": record.off_delay_seconds,
        "limit": record.limit,
        "deadband": record.deadband or None,
        "suppressed_by": list(record.suppressed_by),
        "speaks_up_when": record.speaks_up_when or None,
        "latched": record.latched,
        "shelve_at_most_seconds": record.shelve_at_most_seconds,
        "basis": record.basis,
        "watched": [
            _watch_as_json(watch, plan, held)
            for plan in depots.values()
            for watch in _watched(record.id, plan)
        ],
    }


def _watch_as_json(watch: ConfiguredAlarm, plan: DepotPlan, held: _Held) -> dict[str, Any]:
    condition = watch.condition
    change = held.get((plan.id, watch.record.id, condition.source))
    return {
        "depot": plan.id,
        "source": condition.source,
        "priority": watch.priority,
        "on_delay_seconds": watch.on_delay_seconds,
        "off_delay_seconds": watch.off_delay_seconds,
        "limit": condition.limit,
        "unit": condition.unit,
        "held_back": None if change is None else _held_as_json(change),
    }


def _held_as_json(change: AlarmChanged) -> dict[str, Any]:
    until = None if change.until is None else rfc3339_from_instant(change.until)
    return {"state": change.state.value, "until": until, "by": change.by, "why": change.why}
