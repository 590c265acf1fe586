"""The service: everything wired together. The only place that names an adapter."""

import gc
import logging
import threading
from collections import defaultdict
from collections.abc import Callable, Iterator, Sequence
from dataclasses import dataclass, field
from importlib.metadata import PackageNotFoundError, version
from pathlib import Path
from typing import TYPE_CHECKING, Protocol

from brineward import __version__
from brineward.clock import Clock, MachineClock
from brineward.config.settings import Settings
from brineward.decode.decoder import Decoder
from brineward.decode.floods import KEPT_BY_GATEWAYS_SECONDS, FloodGate
from brineward.journal import DiskTrouble, Journal, open_or_salvage
from brineward.journal.room import give_up_reserve, is_full
from brineward.journal.salvaging import Salvaged
from brineward.journal.session import LinkSession
from brineward.link.link import Link
from brineward.link.state_topic import KeptTopic
from brineward.link.topic_ear import TopicEar
from brineward.page.errors import NoKey
from brineward.readings.entries import Started
from brineward.readings.instants import Instant
from brineward.readings.outputs import Step
from brineward.service.beat import Beat
from brineward.service.calendar_reading import CalendarReading
from brineward.service.exporting import Exporting
from brineward.service.heartbeat import Heartbeat
from brineward.service.keeper import Keeper
from brineward.service.notices import Notices
from brineward.service.parts import Part, PartsLook
from brineward.service.replying import Replies
from brineward.service.reporting import Reporting
from brineward.service.resume import gone_alarms, resumed_engine
from brineward.service.under_way import UnderWay
from brineward.service.upkeep import Upkeep
from brineward.service.worker import Pace, Worker
from brineward.texts.follower import Outside, TextsFollower, sender_of

if TYPE_CHECKING:
    from brineward.http_server.door import Door
    from brineward.service.kept_server import KeptServer

_LOG = logging.getLogger(__name__)

LONGEST_BLIND_SECONDS = 15.0
"""A broker that is back is found within so long, however long it was away."""


@dataclass(frozen=True, slots=True, kw_only=True)
class House:
    """What surrounds a run: its clock, its pace, and who is shown what was committed."""

    clock: Clock = field(default_factory=MachineClock)
    pace: Pace = field(default_factory=Pace)
    on_steps: Callable[[Sequence[Step]], None] | None = None
    upkeep: bool = True
    topics: tuple[str, ...] = ()
    """What to subscribe to instead of each sensor's own topic: one filter with a wildcard has the
    broker for the laptop keep the order between topics, which it otherwise does not."""


def serve(settings: Settings, stop: threading.Event, house: House | None = None) -> None:
    """Watch until `stop` is set.

    Raises: JournalUnusable, also where the journal was deleted or replaced meanwhile; DiskTrouble
    (at the start), LinkFailed. What can't be served over HTTP ends no watch.
    """
    house = house or House()
    clock = house.clock
    notices = Notices(clock)
    journal, salvaged = _opened(settings.journal.path, clock.now())
    with journal:
        engine = resumed_engine(settings.depots, journal)
        _say_unreadable(journal)
        decoder = Decoder(settings.sources, FloodGate(burst_seconds=KEPT_BY_GATEWAYS_SECONDS))
        topics = house.topics or decoder.topics
        session = LinkSession(journal.path)
        link = Link(
            settings.link,
            topics,
            clock,
            # Whoever knows the instance's name must not be able to take the session over by it.
            client_id=f"{settings.link.instance}-{session.mark}",
            broker_dropped=session.broker_dropped,
            longest_wait_seconds=LONGEST_BLIND_SECONDS,
        )
        replies = Replies(settings, clock)
        texts = _texts(settings, clock, journal, replies)
        under_way = UnderWay(journal.path, clock, settings.sources)
        lost = _entries_lost(under_way.recorded, journal.ordering.last_seq())
        beside = list(_services_beside(settings, clock, replies.topic_ear(session.mark)))
        damaged = salvaged.sentence if salvaged is not None else lost
        upkeep = Upkeep(settings, clock, replies, damaged=damaged) if house.upkeep else None
        parts: dict[str, Part] = {"sending of texts": texts}
        if upkeep is not None:
            parts["upkeep"] = upkeep
        for server in _http_servers(settings, clock, replies, parts):
            beside.append(server)
            parts[server.name] = server
        looks = PartsLook(parts, clock, journal.inbox.post)
        beat = Beat(
            journal,
            clock,
            notices,
            texts,
            parts=looks,
            on_beat=lambda: session.note(link.broker_dropped),
        )
        keeper = Keeper(
            engine=engine,
            journal=journal,
            texts=texts,
            clock=clock,
            on_steps=house.on_steps,
            on_thinned=upkeep.note_thinned if upkeep is not None else None,
        )
        worker = Worker(
            engine=engine,
            journal=journal,
            decoder=decoder,
            link=link,
            keeper=keeper,
            clock=clock,
            under_way=under_way,
            on_room=upkeep.report_again if upkeep is not None else None,
            on_turn=beat.turn,
            pace=house.pace,
            last_alive=journal.signs_of_life.last_beat(),
        )
        started = Started(
            time=clock.now(),
            version=__version__,
            config_hash=settings.hash,
            zone_data=_zone_data(),
        )
        worker.begin([started, *gone_alarms(engine, journal, started.time)])
        beat.first(settings)
        try:
            if upkeep is not None:
                upkeep.start()
            texts.start()
            for one in beside:
                one.start()
            link.start()
            notices.ready()
            _leave_what_stands()
            worker.run(stop)
        finally:
            notices.stopping()
            link.stop()
            for one in beside:
                one.stop()
            texts.stop()
            if upkeep is not None:
                upkeep.stop()
        beat.stopped()


def _texts(settings: Settings, clock: Clock, journal: Journal, replies: Replies) -> TextsFollower:
    def say(sentence: str) -> None:
        _LOG.error("texts: %s", sentence)

    outside = Outside(
        topic=lambda siren: KeptTopic(settings.link, siren.topic, gone=siren.off.encode()),
        incoming=replies.hand_in,
        on_trouble=say,
    )
    texts = TextsFollower(
        lambda: Journal.open(settings.journal.path).outbox,
        settings.channels,
        settings.people,
        clock,
        say,
        key_of=journal.outbox.key_of(),
        make_sender=lambda channel, clock: sender_of(channel, clock, outside),
        on_missed=replies.receipts.missed,
        on_awaited=replies.receipt_awaited,
    )
    replies.also_ask(texts.unheard)
    return texts


class _Beside(Protocol):
    """What works beside the watch, and holds up nobody."""

    def start(self) -> None:
        """Begin."""
        ...

    def stop(self) -> None:
        """End."""
        ...


def _services_beside(settings: Settings, clock: Clock, ear: TopicEar | None) -> Iterator[_Beside]:
    """What goes by itself beside the watch, in threads of its own."""
    yield Exporting(settings, clock)
    yield CalendarReading(settings, clock)
    yield Heartbeat(settings, clock)
    if ear is not None:
        yield ear
    if settings.reports:
        yield Reporting(settings, settings.reports, clock)


def _http_servers(
    settings: Settings, clock: Clock, replies: Replies, parts: dict[str, Part]
) -> "list[KeptServer]":
    """A server for each address where anything is asked for: one that can't be had silences no
    other. What can't be served by this run is noted in `parts`.

    A box that serves nothing need not hold a server in its memory.
    """
    doors = replies.doors()
    if settings.page and settings.page.served_by == "service":
        from brineward.service.kept_server import NotServed  # noqa: PLC0415 - see above
        from brineward.service.paging import page_door  # noqa: PLC0415 - see above

        try:
            doors.append(page_door(settings, settings.page, clock))
        except NoKey as why:
            _LOG.error("the page is not served until the next start: %s", why)
            parts["page"] = NotServed()
    if not doors:
        return []
    from brineward.http_server.server import HttpServer  # noqa: PLC0415 - see above
    from brineward.service.kept_server import KeptServer  # noqa: PLC0415 - see above

    by_address: defaultdict[tuple[str, int], list[Door]] = defaultdict(list)
    for door in doors:
        by_address[door.host, door.port].append(door)
    return [KeptServer(HttpServer(some, clock), clock) for some in by_address.values()]


def _opened(path: Path, now: Instant) -> tuple[Journal, Salvaged | None]:
    """The journal; a disk that is too full even to open it gets the reserve back for that."""
    try:
        return open_or_salvage(path, now)
    except DiskTrouble as why:
        if not is_full(path) or not give_up_reserve(path):
            raise
        _LOG.warning("%s; the disk is full, and the reserve is released", why)
        return open_or_salvage(path, now)


def _entries_lost(recorded: int, last: int) -> str:
    """What to say where the journal ends before what was recorded in it; else empty."""
    if last >= recorded:
        return ""
    sentence = (
        f"the last {recorded - last:,} entries that were recorded are gone from the journal: it was"
        " damaged, cut short, deleted or replaced"
    )
    _LOG.error("%s", sentence)
    return sentence


def _say_unreadable(journal: Journal) -> None:
    for table, count in journal.unreadable.items():
        _LOG.error("%d rows of the journal's table %s can't be read and are left out", count, table)


def _leave_what_stands() -> None:
    """What stands now stands to the end: the collector need not go through it time and again.

    Every message makes some objects, and with the usual thresholds a quarter of the whole live
    path's time went into collecting (measured); none of them form cycles.
    """
    gc.collect()
    gc.freeze()
    gc.set_threshold(50_000, 20, 20)


def _zone_data() -> str:
    try:
        return version("tzdata")
    except PackageNotFoundError:
        return "the system's own"
