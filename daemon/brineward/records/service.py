"""The state of the service, as it last recorded it."""

from dataclasses import dataclass, fields
from typing import Final

from brineward.journal.handle import Handle
from brineward.journal.signs_of_life import STOPPED
from brineward.readings.instants import SECOND, Instant

ALIVE_WITHIN: Final = 60 * SECOND
"""A service whose last sign of progress is farther from now is not taken to be alive."""


@dataclass(frozen=True, slots=True, kw_only=True)
class ServiceRow:
    """The state of the service, as it last recorded it; None if it never did."""

    pid: int | None = None
    """Its process; None, too, where it was stopped."""
    version: str | None = None
    config_hash: str | None = None
    started: Instant | None = None
    beat: Instant | None = None
    """When it last showed that reader and writer make progress."""
    stopped: Instant | None = None
    """When it was stopped, where that was the last of it."""
    last_commit: Instant | None = None
    link_up: bool | None = None
    link_changed: Instant | None = None
    link_why: str | None = None

    def alive(self, now: Instant) -> bool:
        """Has it just given a sign of life?

        One from the future is none: it is from before the clock was set back, and a service that
        still ran would have given another since. A service that was stopped was alive until then.
        """
        if self.stopped is not None and now >= self.stopped:
            return False
        return self.beat is not None and abs(now - self.beat) <= ALIVE_WITHIN


_NAMES: Final = tuple(field.name for field in fields(ServiceRow) if field.name != "stopped")
_SELECT: Final = f"SELECT {', '.join(_NAMES)} FROM service"  # noqa: S608 - our own field names


_SET_ASIDE: Final = (
    # What an export keeps there was read well.
    "SELECT count(*) FROM set_aside WHERE kind NOT IN ('point', 'export delayed')"
)


def service_row(handle: Handle) -> ServiceRow:
    """The state of the service, as it last recorded it."""
    with handle.reading() as db:
        row = db.execute(_SELECT).fetchone()
    parts = dict(zip(_NAMES, row, strict=True))
    if parts["link_up"] is not None:
        parts["link_up"] = bool(parts["link_up"])
    if parts["pid"] == STOPPED:
        parts |= {"pid": None, "stopped": parts["beat"]}
    return ServiceRow(**parts)


def set_aside(handle: Handle) -> int:
    """How many rows could not be read and are kept out of everybody's way."""
    with handle.reading() as db:
        return int(db.execute(_SET_ASIDE).fetchone()[0])
