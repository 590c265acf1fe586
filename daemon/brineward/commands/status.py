"""`brineward status CONFIG`: the state of the service and its depots, read from the journal."""

import argparse
import json
import sys
from dataclasses import replace
from typing import Any

from brineward.commands.config_file import add_config
from brineward.commands.status_depot import depot_status
from brineward.commands.status_lines import lines
from brineward.commands.which_journal import add_journal, now_in, settings_of
from brineward.config.mistakes import ConfigMistakes
from brineward.config.settings import Settings
from brineward.journal import DiskTrouble, Journal, JournalUnusable
from brineward.readings.instants import SECOND, Instant, rfc3339_from_instant
from brineward.records import Records
from brineward.service.backlog import backlog_of, cursor_of

CALM, NOT_CALM, UNREADABLE = 0, 1, 2


def add_parser(subparsers: "argparse._SubParsersAction[argparse.ArgumentParser]") -> None:
    """Add `status` to the command line."""
    parser = subparsers.add_parser(
        "status",
        help="show how the service and the depots are",
        description="Reads the journal, whether the service runs or not, and shows how the "
        "service and each depot are. Ends with 0 if all is calm; 1 if an alarm is "
        "active or has not been acknowledged yet, the service is silent or cut off "
        "from its broker, or the disk is low; 2 if the config or the journal can't "
        "be read.",
    )
    add_config(parser)
    add_journal(parser)
    parser.add_argument("--json", action="store_true", help="the same as JSON, in SI units and UTC")
    parser.set_defaults(run=run)


def run(arguments: argparse.Namespace) -> int:
    """Tell the status; 0 calm, 1 something is not, 2 unreadable."""
    try:
        settings = settings_of(arguments)
        now = now_in(arguments, settings)
        with Journal.open(settings.journal.path, read_only=True) as journal:
            found = gather(settings, journal, now, live=arguments.journal is None)
    except (ConfigMistakes, DiskTrouble, JournalUnusable) as trouble:
        print(trouble, file=sys.stderr)
        return UNREADABLE
    if arguments.json:
        print(json.dumps(found, indent=2))
    else:
        print("\n".join(lines(settings, found, now)))
    return CALM if found["calm"] else NOT_CALM


def gather(
    settings: Settings, journal: Journal, now: Instant, *, live: bool = True
) -> dict[str, Any]:
    """Everything that the status tells, in SI units, as plain data for JSON.

    Without `live` a recorded journal is told of, as it was at `now`.

    Raises: DiskTrouble, JournalUnusable.
    """
    records = Records(journal.handle)
    service = _service(settings, records, now, live=live)
    depots = [depot_status(plan, records, settings.file, now) for plan in settings.depots.values()]
    disk = journal.room.disk_state(settings.journal)
    waits = any(a["active"] or a["unacknowledged"] for depot in depots for a in depot["alarms"])
    watching = service["alive"] and service["link_up"] is not False
    return {
        "time": rfc3339_from_instant(now),
        "calm": not waits and watching and disk.verdict == "room",
        "service": service,
        "depots": depots,
        "disk": {
            "free_bytes": disk.free_bytes,
            "journal_bytes": disk.journal_bytes,
            "reusable_bytes": disk.reusable_bytes,
            "reserve_bytes": disk.reserve_bytes,
            "wal_bytes": disk.wal_bytes,
            "verdict": disk.verdict,
        },
        "exports": [_export(journal, name, now) for name in sorted(settings.exports)],
        "unreadable_rows": sum(journal.unreadable.values()),
        "rows_set_aside": records.set_aside(),
    }


def _service(settings: Settings, records: Records, now: Instant, *, live: bool) -> dict[str, Any]:
    row = records.service()
    if not live and row.beat is not None and row.beat > now:
        # A recording may go on without readings, and is told of as it was before it was stopped.
        row = replace(row, beat=now, stopped=None)
    return {
        "alive": row.alive(now),
        "heartbeat_age_seconds": _age(row.beat, now),
        "stopped": _written(row.stopped),
        "pid": row.pid,
        "version": row.version,
        "started": _written(row.started),
        "same_config": row.config_hash in (None, settings.hash),
        "last_commit_age_seconds": _age(row.last_commit, now),
        "link_up": row.link_up,
        "link_changed": _written(row.link_changed),
        "link_why": row.link_why or "",
    }


def _export(journal: Journal, name: str, now: Instant) -> dict[str, Any]:
    backlog = backlog_of(journal, name)
    return {
        "name": name,
        "entries_behind": backlog.entries,
        "behind_seconds": _age(backlog.oldest, now),
        "points_set_aside": journal.asides.count(cursor_of(name)),
        "why": journal.asides.said(cursor_of(name)),
    }


def _age(then: Instant | None, now: Instant) -> float | None:
    return None if then is None else (now - then) / SECOND


def _written(instant: Instant | None) -> str | None:
    return None if instant is None else rfc3339_from_instant(instant)
