"""The state of one depot, for `brineward status`: what the records say, as plain data for JSON."""

import shlex
from dataclasses import asdict
from pathlib import Path
from typing import Any

from brineward.commands.config_file import INSTALLED_CONFIG
from brineward.commands.mode_lines import mode_status
from brineward.commands.rota_week import calendar_age_seconds
from brineward.plant.plan import DepotPlan
from brineward.readings.instants import Instant, rfc3339_from_instant
from brineward.records import Records
from brineward.records.alarm_now import AlarmNow
from brineward.records.depot_now import depot_now
from brineward.records.unwatched_words import by_reason


def depot_status(plan: DepotPlan, records: Records, file: Path, now: Instant) -> dict[str, Any]:
    """Everything that is shown of a depot, at an instant. Raises: DiskTrouble, JournalDamaged."""
    depot = depot_now(plan, records, now)
    blind = records.unwatched.now(plan.id, depot.mode.mode)
    return {
        "id": plan.id,
        "name": plan.name,
        "mode": mode_status(depot.mode),
        "unwatched": None if blind is None else {w: list(d) for w, d in by_reason(blind).items()},
        "strengths": [asdict(one) for one in depot.strengths],
        "sensors": [asdict(one) for one in depot.sensors],
        "alarms": [alarm_status(one, file) for one in depot.alarms],
        "texts": dict(depot.texts),
        "refused": [
            {
                "sensor": one.sensor,
                "reason": one.reason,
                "count": one.count,
                "last": rfc3339_from_instant(one.last),
            }
            for one in depot.refused
        ],
        "calendar_age_seconds": calendar_age_seconds(plan, records, now),
        "contradicted": {one.sensor: one.count for one in depot.contradicted},
    }


def alarm_status(now: AlarmNow, file: Path) -> dict[str, Any]:
    """What is shown of an alarm that is not normal."""
    change, text = now.alarm.change, now.text
    return {
        "code": now.code,
        "alarm": change.alarm,
        "source": change.source,
        "state": change.state.value,
        "active": now.active,
        "unacknowledged": now.unacknowledged,
        "suppressed_by": list(now.suppressed_by),
        "priority": change.priority.value,
        "since": rfc3339_from_instant(now.alarm.since),
        "changed": rfc3339_from_instant(change.time),
        "texted": []
        if text is None
        else [{"when": text.notice.when, "at": rfc3339_from_instant(text.created)}],
        "headline": "" if text is None else text.notice.headline,
        "value": now.value,
        "value_age_seconds": now.value_age_seconds,
        "value_at_change": change.value,
        "limit": change.limit,
        "unit": change.unit,
        "sentence": change.sentence,
        "taken_by": change.by,
        "until": None if change.until is None else rfc3339_from_instant(change.until),
        "why": change.why,
        "response": now.response,
        "next": _next(now, file),
    }


def _next(now: AlarmNow, file: Path) -> str:
    """The command that somebody would give next; empty where nothing waits for a person."""
    verb = "take" if now.unacknowledged else "reset" if now.latched else ""
    if not verb or not now.code:
        return ""
    elsewhere = "" if file == INSTALLED_CONFIG else f" --config {shlex.quote(str(file))}"
    return f"brineward {verb} {now.code}{elsewhere}"
