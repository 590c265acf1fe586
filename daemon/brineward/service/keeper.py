"""The keeper: commits what the worker concluded. While the disk refuses, it holds the results, and
the watch goes on.

What is held is not acknowledged, so a stop in the middle of it loses nothing. It is bounded twice:
the broker hands out no more than the link's `receive_maximum` without an acknowledgement, and of
everything else that is concluded no more is held than `MOST_HELD`.
"""

import logging
from collections.abc import Callable, Sequence
from typing import Final, Protocol

from brineward.clock import Clock
from brineward.engine.engine import Engine
from brineward.journal import DiskTrouble, Journal, Thinned
from brineward.readings.outputs import Step, TextDue
from brineward.readings.values import Reading
from brineward.service.full_disk import make_room
from brineward.service.news import same

_LOG = logging.getLogger(__name__)

SNAPSHOT_SECONDS: Final = 60.0
SNAPSHOT_ENTRIES: Final = 20_000
"""The engine's state is kept this often, so that a restart has little to go through again."""

TRY_AGAIN_SECONDS: Final = 1.0

MOST_HELD: Final = 20_000
"""How many entries are held at most: then the worker waits for the disk, and does nothing else."""


class Texts(Protocol):
    """Whoever sends texts."""

    def wake(self) -> None:
        """Some were committed."""
        ...

    def send_unkept(self, texts: Sequence[TextDue]) -> None:
        """Some can't be committed now."""
        ...


class Keeper:
    """Commits for the worker.

    `on_steps` gets what was committed, and `on_thinned` what a full disk cost.
    """

    def __init__(
        self,
        *,
        engine: Engine,
        journal: Journal,
        texts: Texts,
        clock: Clock,
        on_steps: Callable[[Sequence[Step]], None] | None = None,
        on_thinned: Callable[[Thinned], None] | None = None,
    ) -> None:
        self._engine = engine
        self._journal = journal
        self._texts = texts
        self._clock = clock
        self._on_steps = on_steps
        self._on_thinned = on_thinned
        self._snapshot_at: float | None = None
        self._unkept = 0
        self._held: list[Step] = []
        self._held_done: list[int] = []
        self._try_at = 0.0
        self.full = False
        """The disk is full, and what was concluded is held."""
        self._trouble = ""
        self._unread = ""
        """Why the journal could not be asked last; empty where it could."""
        self._ask_at = 0.0

    @property
    def must_wait(self) -> bool:
        """Is so much held that nothing more may be concluded?"""
        return len(self._held) >= MOST_HELD

    @property
    def holding(self) -> bool:
        """Does anything wait for the disk?"""
        return bool(self._held or self._held_done)

    @property
    def held_done(self) -> frozenset[int]:
        """The inbox's entries that are dealt with, and whose end is held."""
        return frozenset(self._held_done)

    def holds(self, reading: Reading) -> bool:
        """Is this reading known to be committed, or held?

        Where the disk can't be read, what was committed is not known: a repeat may pass for news
        then, and the watch goes on.
        """
        return any(same(reading, step.entry) for step in self._held) or self._committed(reading)

    def _committed(self, reading: Reading) -> bool:
        # A failing disk may take seconds for each answer: one is waited for at a time.
        if self._unread and self._clock.monotonic_seconds() < self._ask_at:
            return False
        try:
            known = self._journal.holds(reading)
        except DiskTrouble as why:
            if str(why) != self._unread:
                _LOG.error("%s; the watch goes on, and a repeat may pass for news meanwhile", why)
            self._unread = str(why)
            self._ask_at = self._clock.monotonic_seconds() + TRY_AGAIN_SECONDS
            return False
        if self._unread:
            _LOG.warning("the disk can be read again")
            self._unread = ""
        return known

    def commit(self, steps: Sequence[Step], done: Sequence[int]) -> bool:
        """Commit these after all that is held; False where the disk refuses, and they are held.

        Raises: JournalUnusable; then nobody may rely on what was kept.
        """
        self._held += steps
        self._held_done += done
        self._unkept += len(steps)
        if self._trouble and self._clock.monotonic_seconds() < self._try_at:
            self._send_unkept()
            return False
        return self._commit_held()

    def keep_state(self) -> None:
        """Keep what is held, and the engine's state, so that the next start is quick."""
        self._snapshot_at = None
        if self._unkept:
            self._commit_held()

    def _commit_held(self) -> bool:
        due = self._snapshot_due()
        states = self._engine.snapshots() if due else {}
        while True:
            try:
                self._journal.commit(self._held, states=states, inbox_done=self._held_done)
            except DiskTrouble as why:
                if not self._made_room(why):
                    self._hold(why)
                    return False
            else:
                break
        if due:
            self._snapshot_at, self._unkept = self._clock.monotonic_seconds(), 0
        kept, self._held, self._held_done = self._held, [], []
        if self._trouble:
            _LOG.warning("the disk can be written to again")
            self._trouble, self.full = "", False
        if any(isinstance(output, TextDue) for step in kept for output in step.outputs):
            self._texts.wake()
        if self._on_steps is not None:
            self._on_steps(kept)
        return True

    def _made_room(self, why: DiskTrouble) -> bool:
        thinned = make_room(self._journal) if why.full else None
        if thinned is None:
            return False
        if self._on_thinned is not None:
            self._on_thinned(thinned)
        return True

    def _hold(self, why: DiskTrouble) -> None:
        if str(why) != self._trouble:
            _LOG.error("%s; trying again, and watching without records meanwhile", why)
        self._trouble, self.full = str(why), why.full
        self._try_at = self._clock.monotonic_seconds() + TRY_AGAIN_SECONDS
        self._send_unkept()

    def _send_unkept(self) -> None:
        outputs = (output for step in self._held for output in step.outputs)
        due = [output for output in outputs if isinstance(output, TextDue)]
        if due:
            self._texts.send_unkept(due)

    def _snapshot_due(self) -> bool:
        if self._snapshot_at is None or self._unkept >= SNAPSHOT_ENTRIES:
            return True
        return self._clock.monotonic_seconds() - self._snapshot_at >= SNAPSHOT_SECONDS
