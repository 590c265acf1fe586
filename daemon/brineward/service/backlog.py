"""How far an export of the config is behind the journal.

Separate from what sends: whoever asks for this needs no HTTP library, and starts without one.
"""

from typing import NamedTuple

from brineward.followers.held_back import answered_of
from brineward.journal import Journal
from brineward.readings.instants import Instant
from brineward.readings.values import Reading


def cursor_of(export: str) -> str:
    """The name that an export has among the journal's followers."""
    return f"export {export}"


class Backlog(NamedTuple):
    """What an export has still to send."""

    entries: int
    oldest: Instant | None
    """When the oldest of them came; None where there is none."""


def backlog_of(journal: Journal, export: str) -> Backlog:
    """How far an export is behind what was answered. Raises: DiskTrouble, JournalUnusable."""
    name = cursor_of(export)
    at = journal.cursors.at(answered_of(name)) or journal.cursors.at(name)
    behind = max(journal.ordering.last_seq() - at, 0)
    first = next(journal.ordering.entries(at + 1), None) if behind else None
    if first is None:
        return Backlog(0, None)
    return Backlog(behind, first.received if isinstance(first, Reading) else _time(first))


def _time(entry: object) -> Instant | None:
    found = getattr(entry, "received", getattr(entry, "time", None))
    return found if isinstance(found, int) else None
