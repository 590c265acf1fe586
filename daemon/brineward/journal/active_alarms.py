"""The alarms that the alarm table records as not normal."""

from dataclasses import dataclass

from brineward.journal import bodies
from brineward.journal.handle import Handle
from brineward.readings.instants import Instant
from brineward.readings.outputs import AlarmChanged, AlarmState


@dataclass(frozen=True, slots=True, kw_only=True)
class ActiveAlarm:
    """An alarm that is not normal now."""

    change: AlarmChanged
    """Its last change."""
    since: Instant
    """When it left normal."""


def alarms_active(handle: Handle, depot: str | None = None) -> list[ActiveAlarm]:
    """Every alarm whose state is not normal, of one depot or all, the longest first.

    Also those of a depot that no config has any more.
    Raises: DiskTrouble, JournalUnusable.
    """
    select = """SELECT body, since FROM alarm WHERE state <> ? AND depot = coalesce(?, depot)
        ORDER BY since, depot, alarm, source"""
    with handle.reading() as db:
        rows = db.execute(select, (AlarmState.NORMAL.value, depot)).fetchall()
    return list(handle.readable("alarm", rows, _active))


def _active(row: tuple[str, Instant]) -> ActiveAlarm:
    return ActiveAlarm(change=bodies.alarm_from(row[0]), since=row[1])
