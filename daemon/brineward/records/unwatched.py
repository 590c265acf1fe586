"""The dangers that nobody watches now, and why: for status, the page, and whoever asks by text."""

from collections.abc import Sequence

import orjson

from brineward.journal.handle import Handle
from brineward.readings.modes import Mode
from brineward.watch.unwatched import Blind, Unwatched


class UnwatchedKept:
    """What the engine's own account of them was when the service last kept it: at most a minute
    ago, while it runs."""

    def __init__(self, handle: Handle) -> None:
        self._handle = handle

    def now(self, depot: str, mode: Mode) -> Sequence[Blind] | None:
        """Those that somebody need watch for in this mode, the gravest first; None where nothing is
        kept of this depot, or not as this version keeps it."""
        with self._handle.reading() as db:
            row = db.execute("SELECT state FROM snapshot WHERE depot = ?", (depot,)).fetchone()
        kept = Unwatched()
        try:
            version, data = orjson.loads(row[0])["trackers"][kept.name]
            kept.restore(data)
        except (TypeError, ValueError, KeyError, AttributeError):
            return None
        if version != kept.version:
            return None
        return [one for one in kept if mode not in one.quiet_in]
