"""`brineward who CONFIG`: who is on call, now or at any time, until when, and who is next."""

import argparse
import json
import sys
from collections.abc import Iterator
from datetime import tzinfo
from pathlib import Path

from brineward.clock import MachineClock
from brineward.commands.config_file import add_config
from brineward.commands.rota_week import calendar_age_seconds, calendar_lines
from brineward.commands.span import NoTime, instant_of
from brineward.config.load import load_settings
from brineward.config.settings import Settings
from brineward.journal import DiskTrouble, Journal, JournalUnusable, is_there
from brineward.plant.plan import DepotPlan
from brineward.readings.entries import Shift
from brineward.readings.instants import (
    DAY,
    Instant,
    local_from_instant,
    rfc3339_from_instant,
)
from brineward.records import Records
from brineward.records.on_call import OnCall, on_call_at
from brineward.service.calendar_file import calendar_of

_AHEAD = 8 * 7 * DAY


def add_parser(subparsers: "argparse._SubParsersAction[argparse.ArgumentParser]") -> None:
    """Add `who` to the command line."""
    parser = subparsers.add_parser(
        "who",
        help="show who is on call, until when, and who is next",
        description="Shows who is on call at each depot: according to the config, and the "
        "calendar as the service last read it. With --ical it writes the coming "
        "eight weeks as an iCalendar file.",
    )
    add_config(parser)
    parser.add_argument(
        "--at",
        metavar="TIME",
        help="another time, such as 2026-12-25T02:00:00Z; a day begins at the first depot's "
        "midnight",
    )
    parser.add_argument("--json", action="store_true", help="the same as JSON, times in UTC")
    parser.add_argument("--ical", type=Path, metavar="FILE", help="write the shifts to this file")
    parser.set_defaults(run=run)


def run(args: argparse.Namespace) -> int:
    """Tell it; 0, or 2 with a sentence where that can't be.

    Raises: ConfigMistakes where the file has some.
    """
    settings, now = load_settings(args.config), MachineClock().now()
    try:
        at = now if args.at is None else instant_of(args.at, _first_zone(settings), now)
        shifts, ages = _shifts(settings, now)
    except (NoTime, OSError, DiskTrouble, JournalUnusable) as why:
        print(why, file=sys.stderr)
        return 2
    if args.ical is not None:
        try:
            args.ical.write_bytes(_calendar(settings, shifts, at))
        except OSError as why:
            print(f"{args.ical} can't be written: {why.strerror}", file=sys.stderr)
            return 2
    plans = settings.depots.values()
    found = [(plan, on_call_at(plan, at, shifts.get(plan.id, ()))) for plan in plans]
    if args.json:
        print(json.dumps([_written(plan, one) for plan, one in found], indent=2))
    else:
        for plan, one in found:
            lines = [f"  {said}" for said in calendar_lines(plan, ages.get(plan.id))]
            print("\n".join([*_lines(plan, one, at), *lines]))
    return 0


def _first_zone(settings: Settings) -> tzinfo:
    return next(iter(settings.depots.values())).zone


def _shifts(
    settings: Settings, now: Instant
) -> tuple[dict[str, tuple[Shift, ...]], dict[str, float | None]]:
    """What the calendars say, by depot, and how old that is, in seconds; none where no service has
    read one yet."""
    path = settings.journal.path
    if not settings.calendars or not is_there(path):
        return {}, {}
    with Journal.open(path, read_only=True) as journal:
        records = Records(journal.handle)
        depots = [settings.depots[depot] for depot in settings.calendars]
        shifts = {plan.id: records.rota.shifts(plan.id) for plan in depots}
        return shifts, {plan.id: calendar_age_seconds(plan, records, now) for plan in depots}


def shifts_ahead(
    plan: DepotPlan, shifts: tuple[Shift, ...], start: Instant, end: Instant
) -> Iterator[tuple[Instant, Instant, str]]:
    """Each turn from `start` to `end`, with who is on duty; empty where nobody is."""
    at = start
    while at < end:
        one = on_call_at(plan, at, shifts)
        until = end if one.until is None else min(one.until, end)
        yield at, until, one.on_duty
        at = until


def _calendar(settings: Settings, shifts: dict[str, tuple[Shift, ...]], at: Instant) -> bytes:
    turns = [
        (plan.id, begins, ends, plan.name, plan.duty.names.get(person, person))
        for plan in settings.depots.values()
        for begins, ends, person in shifts_ahead(plan, shifts.get(plan.id, ()), at, at + _AHEAD)
        if person
    ]
    return calendar_of(turns, stamp=at)


def _name(plan: DepotPlan, person: str) -> str:
    return plan.duty.names.get(person, person)


def _lines(plan: DepotPlan, found: OnCall, at: Instant) -> Iterator[str]:
    who = _name(plan, found.on_duty) if found.on_duty else "nobody, according to the rota"
    end = ""
    if found.until is not None:
        local = local_from_instant(found.until, plan.zone)
        end = f" until {local:%a} {local.day} {local:%B %H:%M}"
        end += f", then {_name(plan, found.next) or 'nobody'}"
    yield f"{plan.name}: on call is {who}{end}."
    others = [_name(plan, one) for one in found.order if one != found.on_duty]
    if others:
        yield f"  If there is no answer: {', then '.join(others)}; then everybody is called."
    quiet = [
        _name(plan, person)
        for person, hours in plan.duty.quiet.items()
        if hours.hold(at, plan.zone)
    ]
    if quiet:
        yield f"  In quiet hours, woken only by high alarms: {', '.join(quiet)}."


def _written(plan: DepotPlan, found: OnCall) -> dict[str, object]:
    return {
        "depot": plan.id,
        "on_call": found.on_duty or None,
        "name": _name(plan, found.on_duty) or None,
        "until": None if found.until is None else rfc3339_from_instant(found.until),
        "next": found.next or None,
        "backups": list(found.backups),
        "order": list(found.order),
    }
