"""The service: the parts, wired. The only place that names an adapter."""

import logging
import os
import threading
from collections.abc import Callable, Sequence
from dataclasses import dataclass, field
from importlib.metadata import PackageNotFoundError, version

from brineward import __version__
from brineward.clock import Clock, MachineClock
from brineward.config.settings import Settings
from brineward.decode.decoder import Decoder
from brineward.journal.journal import Journal
from brineward.link.link import Link
from brineward.readings.entries import Started
from brineward.readings.outputs import Step
from brineward.service.notices import Notices
from brineward.service.resume import resumed_engine
from brineward.service.upkeep import Upkeep
from brineward.service.watchman import Pace, Watchman
from brineward.texts.follower import TextsFollower

_LOG = logging.getLogger(__name__)

BEAT_SECONDS = 10.0
"""How often the journal is told that the service is alive."""


@dataclass(frozen=True, slots=True, kw_only=True)
class House:
    """What surrounds a run: its clock, its pace, and who is shown what was committed."""

    clock: Clock = field(default_factory=MachineClock)
    pace: Pace = field(default_factory=Pace)
    on_steps: Callable[[Sequence[Step]], None] | None = None
    upkeep: bool = True


def serve(settings: Settings, stop: threading.Event, house: House | None = None) -> None:
    """Watch until `stop` is set.

    Raises: JournalUnusable, DiskTrouble (at the start), LinkFailed.
    """
    house = house or House()
    clock = house.clock
    notices = Notices(clock)
    with Journal.open(settings.journal.path, service=True, check=True) as journal:
        engine = resumed_engine(settings.depots, journal)
        decoder = Decoder(settings.sources)
        link = Link(settings.link, decoder.topics, clock)
        texts = TextsFollower(
            lambda: Journal.open(settings.journal.path),
            settings.channels,
            settings.people,
            clock,
            lambda sentence: _LOG.error("texts: %s", sentence),
        )
        beat = _Beat(journal, clock, notices, texts)
        watchman = Watchman(
            engine=engine,
            journal=journal,
            decoder=decoder,
            link=link,
            texts=texts,
            clock=clock,
            pace=house.pace,
            on_steps=house.on_steps,
            on_turn=beat.turn,
        )
        watchman.begin(
            Started(
                time=clock.now(),
                version=__version__,
                config_hash=settings.hash,
                zone_data=_zone_data(),
            )
        )
        beat.first(settings)
        upkeep = Upkeep(settings.journal, clock) if house.upkeep else None
        try:
            if upkeep is not None:
                upkeep.start()
            texts.start()
            link.start()
            notices.ready()
            watchman.run(stop)
        finally:
            notices.stopping()
            link.stop()
            texts.stop()
            if upkeep is not None:
                upkeep.stop()


class _Beat:
    """Says that the service is alive, but only while reader and sender truly go round."""

    def __init__(
        self, journal: Journal, clock: Clock, notices: Notices, texts: TextsFollower
    ) -> None:
        self._journal = journal
        self._clock = clock
        self._notices = notices
        self._texts = texts
        self._last = clock.monotonic_seconds()

    def first(self, settings: Settings) -> None:
        """The service has started."""
        now = self._clock.now()
        self._journal.note_service(
            beat=now,
            pid=os.getpid(),
            version=__version__,
            config_hash=settings.hash,
            started=now,
        )

    def turn(self) -> None:
        """The worker has gone round once."""
        if not self._texts.is_alive():
            return
        self._notices.alive()
        now = self._clock.monotonic_seconds()
        if now - self._last >= BEAT_SECONDS:
            self._last = now
            self._journal.note_service(beat=self._clock.now())


def _zone_data() -> str:
    try:
        return version("tzdata")
    except PackageNotFoundError:
        return "the system's own"
