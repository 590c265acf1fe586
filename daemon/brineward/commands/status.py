"""`brineward status CONFIG`: how the service and its depots are, read from the journal."""

import argparse
import json
import shlex
import sys
from pathlib import Path
from typing import Any

from brineward.alarms.registry import CATALOGUE
from brineward.clock import MachineClock
from brineward.commands.config_file import INSTALLED_CONFIG, add_config
from brineward.commands.status_lines import lines
from brineward.config.load import load_settings
from brineward.config.mistakes import ConfigMistakes
from brineward.config.settings import Settings
from brineward.journal import DiskTrouble, Journal, JournalUnusable, StandingAlarm
from brineward.physics.freezing import first_solid, freezing_point_c
from brineward.physics.phase_coefficients import EUTECTIC_MASS_FRACTION
from brineward.physics.saturation import saturation_mass_fraction
from brineward.plant.plan import DepotPlan
from brineward.readings.instants import MINUTE, SECOND, Instant, rfc3339_from_instant
from brineward.readings.outputs import AlarmState, Derived
from brineward.readings.values import Reading

CALM, STANDING, UNREADABLE = 0, 1, 2

ALIVE_WITHIN_SECONDS = 60.0
"""A service whose last sign of progress is older is said to be silent."""

_AHEAD = 5 * MINUTE  # a reading further in the future has a wrong clock and is not the newest
_STRENGTH = "-strength"


def add_parser(subparsers: "argparse._SubParsersAction[argparse.ArgumentParser]") -> None:
    """Add `status` to the command line."""
    parser = subparsers.add_parser(
        "status",
        help="tell how the service and the depots are",
        description="Reads the journal, whether the service runs or not, and tells how the "
        "service and each depot are. Ends with 0 where all is calm, 1 where an alarm stands or "
        "the service is silent or cut off, 2 where the config or the journal can't be read.",
    )
    add_config(parser)
    parser.add_argument("--json", action="store_true", help="the same as JSON, in SI units")
    parser.set_defaults(run=run)


def run(arguments: argparse.Namespace) -> int:
    """Tell the status; 0 calm, 1 something stands, 2 unreadable."""
    now = MachineClock().now()
    try:
        settings = load_settings(arguments.config)
        with Journal.open(settings.journal.path, read_only=True) as journal:
            found = gather(settings, journal, now)
    except (ConfigMistakes, DiskTrouble, JournalUnusable) as trouble:
        print(trouble, file=sys.stderr)
        return UNREADABLE
    if arguments.json:
        print(json.dumps(found, indent=2))
    else:
        print("\n".join(lines(settings, found, now)))
    return CALM if found["calm"] else STANDING


def gather(settings: Settings, journal: Journal, now: Instant) -> dict[str, Any]:
    """Everything that the status tells, in SI units, as plain data for JSON."""
    service = _service(settings, journal, now)
    depots = [_depot(plan, journal, settings.file, now) for plan in settings.depots.values()]
    disk = journal.disk_state(settings.journal)
    quiet = not any(alarm["standing"] for depot in depots for alarm in depot["alarms"])
    return {
        "time": rfc3339_from_instant(now),
        "calm": quiet and service["alive"] and service["link_up"] is not False,
        "service": service,
        "depots": depots,
        "disk": {
            "free_bytes": disk.free_bytes,
            "journal_bytes": disk.journal_bytes,
            "reusable_bytes": disk.reusable_bytes,
            "wal_bytes": disk.wal_bytes,
            "verdict": disk.verdict,
        },
    }


def _service(settings: Settings, journal: Journal, now: Instant) -> dict[str, Any]:
    row = journal.service_row()
    age = _age(row.beat, now)
    return {
        "alive": age is not None and age <= ALIVE_WITHIN_SECONDS,
        "heartbeat_age_seconds": age,
        "pid": row.pid,
        "version": row.version,
        "started": _written(row.started),
        "same_config": row.config_hash in (None, settings.hash),
        "last_commit_age_seconds": _age(row.last_commit, now),
        "link_up": row.link_up,
        "link_changed": _written(row.link_changed),
        "link_why": row.link_why or "",
    }


def _depot(plan: DepotPlan, journal: Journal, file: Path, now: Instant) -> dict[str, Any]:
    readings = journal.latest_readings(plan.id, now + _AHEAD)
    derived = journal.latest_derived(plan.id, now + _AHEAD)
    refused = journal.refusals(plan.id)
    conflicts = journal.conflict_counts(plan.id)
    return {
        "id": plan.id,
        "name": plan.name,
        "strengths": [
            _strength(name.removesuffix(_STRENGTH), value, now)
            for name, value in derived.items()
            if name.endswith(_STRENGTH)
        ],
        "sensors": [_sensor(plan, name, readings.get(name), now) for name in plan.sensors],
        "alarms": [_alarm(plan, alarm, file) for alarm in journal.alarms_standing(plan.id)],
        "texts": journal.text_counts(plan.id),
        "refused": [
            {
                "sensor": one.sensor,
                "reason": one.reason,
                "count": one.count,
                "last": _written(one.last),
            }
            for one in refused
        ],
        "contradicted": {one.sensor: one.count for one in conflicts},
    }


def _strength(vessel: str, found: Derived, now: Instant) -> dict[str, Any]:
    """A strength with its interval (coverage factor 2, about 95 %) and what it freezes at."""
    spread = 2 * (found.standard_uncertainty or 0.0)
    # Where the line of crystals ends that the freezing point is known on.
    most = saturation_mass_fraction(40.0)
    low, high = max(0.0, found.value - spread), min(most, found.value + spread)
    value = min(max(found.value, 0.0), most)
    ends = [low, high, value]
    if low < EUTECTIC_MASS_FRACTION < high:
        ends.append(EUTECTIC_MASS_FRACTION)
    points = [freezing_point_c(end) for end in ends]
    return {
        "vessel": vessel,
        "mass_fraction": found.value,
        "interval_95": [low, high] if found.standard_uncertainty is not None else None,
        "calibrated": found.calibrated,
        "freezing_point_c": round(freezing_point_c(value), 2),
        "freezing_interval_c": [round(min(points), 2), round(max(points), 2)],
        "first_solid": str(first_solid(value)),
        "age_seconds": _age(found.time, now),
    }


def _sensor(plan: DepotPlan, name: str, reading: Reading | None, now: Instant) -> dict[str, Any]:
    sensor = plan.sensors[name]
    age = None if reading is None else _age(reading.time, now)
    return {
        "id": name,
        "measures": sensor.measures.value,
        "at": sensor.at,
        "value": None if reading is None else reading.value,
        "quality": None if reading is None else reading.quality.value,
        "reason": "" if reading is None else reading.reason,
        "age_seconds": age,
        "silent": age is None or age > sensor.silent_after_seconds,
    }


def _alarm(plan: DepotPlan, alarm: StandingAlarm, file: Path) -> dict[str, Any]:
    change = alarm.change
    record = CATALOGUE.get(change.alarm)
    return {
        "code": plan.code(change.number) if change.number else "",
        "alarm": change.alarm,
        "source": change.source,
        "state": change.state.value,
        "standing": change.state is not AlarmState.SUPPRESSED,
        "priority": change.priority.value,
        "since": _written(alarm.since),
        "sentence": change.sentence,
        "taken_by": change.by,
        "response": "" if record is None else record.response,
        "next": _next(plan, alarm, file),
    }


def _next(plan: DepotPlan, alarm: StandingAlarm, file: Path) -> str:
    """The command that somebody would give next; empty where nothing waits for a person."""
    waits = (AlarmState.UNACKNOWLEDGED, AlarmState.RETURNED_UNACKNOWLEDGED)
    if alarm.change.state in waits and alarm.change.number:
        elsewhere = "" if file == INSTALLED_CONFIG else f" --config {shlex.quote(str(file))}"
        return f"brineward take {plan.code(alarm.change.number)}{elsewhere}"
    return ""


def _age(then: Instant | None, now: Instant) -> float | None:
    return None if then is None else (now - then) / SECOND


def _written(instant: Instant | None) -> str | None:
    return None if instant is None else rfc3339_from_instant(instant)
