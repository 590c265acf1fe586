"""The lookout: asks a journal, each time on a handle of its own, so no look holds up another."""

import logging
from collections.abc import Callable, Mapping
from pathlib import Path
from typing import TypeVar

from brineward.clock import Clock
from brineward.config.settings import Settings
from brineward.journal import DiskTrouble, Journal, JournalDamaged, JournalUnusable
from brineward.plant.plan import DepotPlan
from brineward.readings.instants import Instant
from brineward.records import Records

_T = TypeVar("_T")
_LOG = logging.getLogger(__name__)


class NoLook(Exception):
    """The journal can't be read now; the text says why."""


class Lookout:
    """Looks into the journal of some depots; for any thread."""

    def __init__(self, settings: Settings, clock: Clock) -> None:
        self._path: Path = settings.journal.path
        self._clock = clock
        self._why = ""
        self.plans: Mapping[str, DepotPlan] = settings.depots
        self.people: Mapping[str, str] = {one.id: one.name for one in settings.people.values()}

    def now(self) -> Instant:
        """By this machine's clock."""
        return self._clock.now()

    def ask(self, question: Callable[[Records], _T]) -> _T:
        """Ask the records. Raises: NoLook."""
        try:
            with Journal.open(self._path, read_only=True) as journal:
                found = question(Records(journal.handle))
        except (DiskTrouble, JournalDamaged, JournalUnusable) as why:
            if self._why != str(why):
                _LOG.error("The page can't read the journal: %s", why)
            self._why = str(why)
            raise NoLook(str(why)) from why
        self._why = ""
        return found
