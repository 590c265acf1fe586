"""`brineward alarms [CONFIG]`: the catalogue of alarms, from the same records that raise them."""

import argparse
import json
import os
from collections.abc import Iterator, Mapping
from pathlib import Path
from textwrap import wrap
from typing import Any

from brineward.alarms.catalogue import CATALOGUE, AlarmRecord
from brineward.alarms.condition import Condition
from brineward.alarms.freezing import ShelterFreezing
from brineward.alarms.overflow import OverflowAhead
from brineward.alarms.roster import Watch, watches_for
from brineward.alarms.silence import DepotSilent, SensorSilent
from brineward.alarms.strength import StrengthOutside
from brineward.commands.config_file import INSTALLED_CONFIG, add_config
from brineward.config.load import load_settings
from brineward.plant.plan import DepotPlan
from brineward.wording.operator_units import level, percent, temperature

_WIDTH = 98
_UNITS = {"length": "m", "temperature": "degC"}


def add_parser(subparsers: "argparse._SubParsersAction[argparse.ArgumentParser]") -> None:
    """Add `alarms` to the command line."""
    parser = subparsers.add_parser(
        "alarms",
        help="every alarm: cause, consequence, response, limits and delays",
        description="Prints the catalogue of alarms: for each its cause and consequence, what to "
        "do and how soon, its delays and limits and where they come from. With a config file, "
        "named or installed, also where each is watched and what holds there.",
    )
    add_config(parser)
    parser.add_argument("--json", action="store_true", help="the same as JSON, for programs")
    parser.set_defaults(run=run)


def run(args: argparse.Namespace) -> int:
    """Print the catalogue; exit code 0. Raises: ConfigMistakes where the file has some."""
    depots = _depots(args.config)
    if args.json:
        rows = [_record_as_json(record, depots) for record in CATALOGUE.values()]
        print(json.dumps({"alarms": rows}, indent=2))
        return 0
    for record in CATALOGUE.values():
        print("\n".join(_record_lines(record, depots)))
        print()
    return 0


def _depots(config: Path) -> Mapping[str, DepotPlan]:
    """The config's depots; none where nobody named a file and none is installed for us to read."""
    if config == INSTALLED_CONFIG and not os.access(config, os.R_OK):
        return {}
    return load_settings(config).depots


def _watched(alarm: str, plan: DepotPlan) -> list[Watch]:
    return [watch for watch in watches_for(plan) if watch.condition.alarm == alarm]


# -- for a person


def _record_lines(record: AlarmRecord, depots: Mapping[str, DepotPlan]) -> Iterator[str]:
    yield f"{record.title} ({record.id}), priority {record.priority}"
    yield from _paragraph("Cause", record.cause)
    yield from _paragraph("Consequence", record.consequence)
    yield from _paragraph("Response", record.response)
    yield from _paragraph("Respond within", f"{record.respond_within}.")
    yield from _paragraph("Text says", record.text_response)
    if record.text_afterwards:
        yield from _paragraph("Text says when it is over", record.text_afterwards)
    delays = f"on {_seconds(record.on_delay_seconds)}, off {_seconds(record.off_delay_seconds)}"
    yield from _paragraph("Delays", f"{delays}.")
    if record.limit is not None:
        yield from _paragraph("Limit", f"{record.limit:g} {_unit(record)}.")
    if record.deadband:
        yield from _paragraph("Deadband", f"{record.deadband:g} {_unit(record, difference=True)}.")
    if record.suppressed_by:
        yield from _paragraph("Held back under", f"{', '.join(record.suppressed_by)}.")
    yield from _paragraph("Basis", record.basis)
    for plan in depots.values():
        yield from _paragraph(f"At {plan.name}", _where(record, plan))


def _paragraph(head: str, text: str) -> list[str]:
    return wrap(f"{head}: {text.strip()}", _WIDTH, initial_indent="  ", subsequent_indent="    ")


def _where(record: AlarmRecord, plan: DepotPlan) -> str:
    watched = _watched(record.id, plan)
    if not watched:
        settings = plan.alarms.get(record.id)
        off = settings is not None and not settings.enabled
        return "switched off in this file." if off else "not watched; see `brineward check`."
    return "; ".join(_place(watch, plan) for watch in watched) + "."


def _place(watch: Watch, plan: DepotPlan) -> str:
    said = [plan.name_of(watch.condition.source)]
    limit = _limit_written(watch.condition, plan)
    if limit:
        said.append(f"limit {limit}")
    if watch.priority is not watch.record.priority:
        said.append(f"priority {watch.priority}")
    if watch.on_delay_seconds != watch.record.on_delay_seconds:
        said.append(f"on-delay {_seconds(watch.on_delay_seconds)}")
    if watch.off_delay_seconds != watch.record.off_delay_seconds:
        said.append(f"off-delay {_seconds(watch.off_delay_seconds)}")
    return ", ".join(said)


def _limit_written(condition: Condition, plan: DepotPlan) -> str:
    match condition:
        case OverflowAhead():
            return level(condition.limit_m, plan.us_units)
        case ShelterFreezing():
            return temperature(condition.limit_c, plan.us_units)
        case StrengthOutside():
            return f"{percent(condition.limit)} %"
        case SensorSilent():
            return _seconds(condition.sensor.silent_after_seconds)
        case DepotSilent():
            return _seconds(condition.limit_seconds)
        case _:
            return ""


def _unit(record: AlarmRecord, *, difference: bool = False) -> str:
    if record.limit_quantity is None:
        return "s"
    unit = _UNITS[record.limit_quantity]
    return "K" if difference and unit == "degC" else unit


def _seconds(seconds: float) -> str:
    return f"{seconds:g} s" if seconds < 120 else f"{seconds / 60:g} min"


# -- for a program


def _record_as_json(record: AlarmRecord, depots: Mapping[str, DepotPlan]) -> dict[str, Any]:
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
        "basis": record.basis,
        "watched": [
            _watch_as_json(watch, plan)
            for plan in depots.values()
            for watch in _watched(record.id, plan)
        ],
    }


def _watch_as_json(watch: Watch, plan: DepotPlan) -> dict[str, Any]:
    limit, unit = _limit(watch.condition)
    return {
        "depot": plan.id,
        "source": watch.condition.source,
        "priority": watch.priority,
        "on_delay_seconds": watch.on_delay_seconds,
        "off_delay_seconds": watch.off_delay_seconds,
        "limit": limit,
        "unit": unit,
    }


def _limit(condition: Condition) -> tuple[float | None, str]:
    match condition:
        case OverflowAhead():
            return condition.limit_m, "m"
        case ShelterFreezing():
            return condition.limit_c, "degC"
        case StrengthOutside():
            return condition.limit, "1"
        case SensorSilent():
            return condition.sensor.silent_after_seconds, "s"
        case DepotSilent():
            return condition.limit_seconds, "s"
        case _:
            return None, ""
