"""What people did."""

from typing import cast

from brineward.journal import bodies
from brineward.journal.handle import Handle
from brineward.readings.entries import Act
from brineward.readings.instants import Instant
from brineward.records.ever import NEVER

_KINDS = ", ".join(f"'{kind}'" for kind in bodies.ACTS)


class Acts:
    """Takes, tests by hand, answers and modes that were set."""

    def __init__(self, handle: Handle) -> None:
        self._handle = handle

    def between(
        self, depot: str, start: Instant = 0, end: Instant = NEVER, *, kind: str | None = None
    ) -> list[Act]:
        """What people did at a depot, of one kind or all, from `start` to before `end`, in order
        of time."""
        select = f"""SELECT kind, body FROM happening WHERE kind IN ({_KINDS})
            AND time >= ? AND time < ? AND depot = ? AND kind = coalesce(?, kind)
            ORDER BY time, seq"""  # noqa: S608 - our own
        with self._handle.reading() as db:
            rows = db.execute(select, (start, end, depot, kind)).fetchall()
        made = self._handle.readable("happening", rows, lambda row: bodies.entry_from(*row))
        return [cast(Act, entry) for entry in made]
