"""Dangers that nobody watches now: alarms about the plant whose conditions can't be judged."""

from collections.abc import Iterator
from typing import Any, NamedTuple

from brineward.plant.tracker import Tracker
from brineward.readings.instants import Instant
from brineward.readings.modes import Mode
from brineward.readings.outputs import Priority


class Blind(NamedTuple):
    """An alarm that can't be judged."""

    danger: str
    """What it watches for, in a few words."""
    priority: Priority
    why: str
    sensors: tuple[str, ...]
    """Those that are to blame; none where it is something else."""
    since: Instant
    quiet_in: tuple[Mode, ...] = ()
    """The modes in which nobody need watch for it."""


class Unwatched(Tracker):
    """Which there are, by the alarm's key; the book reports each verdict "unknown" to it."""

    name = "unwatched"

    def __init__(self) -> None:
        self.blind: dict[str, Blind] = {}
        """By the alarm's key, as they became so."""

    def __iter__(self) -> Iterator[Blind]:
        """All of them, the gravest first, then as they became so; the same after a restart."""
        graves = tuple(Priority)
        rows = self.blind.items()
        ordered = sorted(
            rows, key=lambda row: (graves.index(row[1].priority), row[1].since, row[0])
        )
        return iter(blind for _, blind in ordered)

    def note(self, alarm: str, blind: Blind | None) -> bool:
        """An alarm can't be judged, or can again (None). Has that changed?"""
        before = self.blind.get(alarm)
        if blind is None:
            return self.blind.pop(alarm, None) is not None
        if before is not None:
            blind = blind._replace(since=before.since)
        self.blind[alarm] = blind
        return blind != before

    def without(self, sensor: str) -> str:
        """The dangers that this sensor leaves unwatched, as a list to read; empty for none."""
        return listed([one.danger for one in self if sensor in one.sensors])

    def snapshot(self) -> dict[str, Any]:
        """What is remembered, as plain data."""
        return {alarm: list(blind) for alarm, blind in self.blind.items()}

    def restore(self, data: Any) -> None:
        """Become what `snapshot` wrote."""
        self.blind = {
            alarm: Blind(
                danger,
                Priority(priority),
                why,
                tuple(sensors),
                since,
                tuple(Mode(mode) for mode in quiet_in[0]) if quiet_in else (),  # older have none
            )
            for alarm, (danger, priority, why, sensors, since, *quiet_in) in data.items()
        }


MOST_NAMED = 2
"""More would take the room of what to do."""


def listed(dangers: list[str]) -> str:
    """Each once, in their order; the first ones by name, the others by their number."""
    found = list(dict.fromkeys(dangers))
    more = f" and {len(found) - MOST_NAMED} more" if len(found) > MOST_NAMED else ""
    return f"{', '.join(found[:MOST_NAMED])}{more}"
