"""The keeper: commits what the worker concluded, and goes on trying while the disk refuses."""

import logging
import threading
from collections.abc import Callable, Sequence

from brineward.clock import Clock
from brineward.engine.engine import Engine
from brineward.followers.follower import Follower
from brineward.journal.journal import Journal
from brineward.journal.thinning import Thinned
from brineward.journal.trouble import DiskTrouble
from brineward.readings.instants import MINUTE
from brineward.readings.outputs import Step, TextDue
from brineward.service.full_disk import make_room

_LOG = logging.getLogger(__name__)

SNAPSHOT_EVERY = MINUTE
SNAPSHOT_ENTRIES = 20_000
"""The engine's state is kept this often, so that a restart has little to go through again."""

TRY_AGAIN_SECONDS = 1.0


class Keeper:
    """Commits for the worker.

    `on_steps` is shown what was committed, `on_wait` is called while the disk is waited for, and
    `on_thinned` is told of what a full disk cost.
    """

    def __init__(
        self,
        *,
        engine: Engine,
        journal: Journal,
        texts: Follower,
        clock: Clock,
        on_wait: Callable[[], None],
        on_steps: Callable[[Sequence[Step]], None] | None = None,
        on_thinned: Callable[[Thinned], None] | None = None,
    ) -> None:
        self._engine = engine
        self._journal = journal
        self._texts = texts
        self._clock = clock
        self._on_wait = on_wait
        self._on_steps = on_steps
        self._on_thinned = on_thinned
        self._snapshot_at = 0
        self._unkept = 0
        self._given_up = False
        """A batch was never kept: the engine knows more than the journal, and its state with it."""

    def commit(self, steps: Sequence[Step], done: Sequence[int], stop: threading.Event) -> bool:
        """Commit, and again until the disk takes it: what waits is bounded by the broker.

        False where we were stopped before the disk took it; then nothing more must be kept.
        Raises: JournalUnusable.
        """
        states = self._engine.snapshots() if self._snapshot_due(len(steps)) else {}
        trouble = ""
        while True:
            try:
                self._journal.commit(steps, states=states, inbox_done=done)
            except DiskTrouble as why:
                if str(why) != trouble:
                    trouble = str(why)
                    _LOG.error("%s; trying again", why)
                if not self._wait_for_disk(why, stop):
                    self._given_up = True
                    return False
            else:
                break
        if trouble:
            _LOG.warning("the disk takes records again")
        if any(isinstance(output, TextDue) for step in steps for output in step.outputs):
            self._texts.wake()
        if self._on_steps is not None:
            self._on_steps(steps)
        return True

    def keep_state(self, stop: threading.Event) -> None:
        """Keep the engine's state before the end, so that the next start is quick."""
        self._snapshot_at = 0
        if self._unkept and not self._given_up:
            self.commit([], [], stop)

    def _wait_for_disk(self, why: DiskTrouble, stop: threading.Event) -> bool:
        """Make room where we can, or wait a little; False where we are stopped."""
        if why.full:
            thinned = make_room(self._journal)
            if thinned is not None:
                if self._on_thinned is not None:
                    self._on_thinned(thinned)
                return True
        if self._clock.wait(stop, TRY_AGAIN_SECONDS):
            return False
        self._on_wait()
        return True

    def _snapshot_due(self, entries: int) -> bool:
        self._unkept += entries
        now = self._clock.now()
        if now - self._snapshot_at < SNAPSHOT_EVERY and self._unkept < SNAPSHOT_ENTRIES:
            return False
        self._snapshot_at, self._unkept = now, 0
        return True
