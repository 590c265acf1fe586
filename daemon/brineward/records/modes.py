"""What a depot was being used for, when, and who said so."""

from dataclasses import dataclass

from brineward.journal.handle import Handle
from brineward.readings.entries import ModeSet
from brineward.readings.instants import Instant
from brineward.readings.modes import Mode
from brineward.records.acts import Acts
from brineward.records.episodes import Episodes
from brineward.records.ever import NEVER

EPISODE = "mode"
"""What the engine calls the stretches; their source is the mode."""


@dataclass(frozen=True, slots=True, kw_only=True)
class ModeNow:
    """A depot's mode as it is known now."""

    mode: Mode = Mode.IN_SERVICE
    since: Instant | None = None
    """None where nobody has ever set one."""
    by: str = ""
    """The person's id; empty where its schedule set it, or nobody."""
    single_batch: bool = False


@dataclass(frozen=True, slots=True, kw_only=True)
class ModeStretch:
    """A depot was used for one thing."""

    mode: Mode
    began: Instant
    ended: Instant | None
    """None: it goes on."""


class Modes:
    """Modes of a depot."""

    def __init__(self, handle: Handle) -> None:
        self._episodes, self._acts = Episodes(handle), Acts(handle)

    def between(
        self, depot: str, start: Instant = 0, end: Instant = NEVER, limit: int = 1000
    ) -> list[ModeStretch]:
        """The last periods in a mode, at most this many, overlapping `start` to `end`, in order."""
        found = self._episodes.between(depot, start, end, episode=EPISODE, limit=limit)
        known = {mode.value for mode in Mode}
        return [
            ModeStretch(mode=Mode(one.source), began=one.began, ended=one.ended)
            for one in found
            if one.source in known
        ]

    def now(self, depot: str) -> ModeNow:
        """What it is, since when, and who set it."""
        stretches = self.between(depot, limit=2)
        if not stretches:
            return ModeNow()
        now = stretches[-1]
        before = stretches[-2].began if len(stretches) > 1 else 0
        sets = self._acts.between(depot, before, kind="mode")
        last = sets[-1] if sets else None
        # The schedule leaves no act: where the last one says another mode, it was that.
        if isinstance(last, ModeSet) and last.mode is now.mode:
            by, single = last.by, last.single_batch
            return ModeNow(mode=now.mode, since=now.began, by=by, single_batch=single)
        return ModeNow(mode=now.mode, since=now.began)
