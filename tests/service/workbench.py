"""The worker on a real journal with a real engine, its link and clock in the test's hand."""

import threading
from collections.abc import Iterator, Sequence
from dataclasses import dataclass, field
from pathlib import Path

import pytest

from brineward.clock import MachineClock
from brineward.config.load import load_settings
from brineward.config.settings import Settings
from brineward.decode.decoder import Decoder
from brineward.engine.engine import Engine
from brineward.journal import Journal
from brineward.link import Message, Token
from brineward.link.inbox import Arrival
from brineward.readings.entries import LinkChanged, Started
from brineward.readings.instants import SECOND, Instant
from brineward.readings.outputs import Step, TextDue
from brineward.service.keeper import Keeper
from brineward.service.resume import resumed_engine
from brineward.service.under_way import UnderWay
from brineward.service.worker import Worker
from services import CALM, payload, topic, write_config

START: Instant = 1_768_435_200_000

AGAINST_CLOSED_VALVE = {"pump_running": 1, "hose_valve_open": 0}
"""What raises an alarm after a second, by the config of the tests."""


class HeldClock(MachineClock):
    """A clock that a test moves, and may set; waiting moves it too."""

    ahead = 0

    def __init__(self) -> None:
        self.time = START
        self.waits = 0
        self.on_wait = lambda: None

    def now(self) -> int:
        return self.time + self.ahead

    def monotonic_seconds(self) -> float:
        return self.time / SECOND

    def wait(self, wake: threading.Event, seconds: float) -> bool:
        self.waits += 1
        self.on_wait()
        self.time += round(seconds * SECOND)
        return wake.is_set()


@dataclass
class ScriptedLink:
    """A link that hands on what the test says, and notes what is acknowledged."""

    clock: HeldClock
    arrivals: list[Arrival] = field(default_factory=list)
    acknowledged: list[Message] = field(default_factory=list)
    held_back: int = 0
    """So many more wait than can be taken now."""

    @property
    def waiting(self) -> int:
        return len(self.arrivals) + self.held_back

    def take(self, most: int, timeout_seconds: float) -> list[Arrival]:
        if not self.arrivals:
            self.clock.time += round(timeout_seconds * SECOND)
        taken, self.arrivals = self.arrivals[:most], self.arrivals[most:]
        return taken

    def acknowledge(self, messages: Sequence[Message]) -> None:
        self.acknowledged += messages


@dataclass
class NoTexts:
    """An outbox that nobody follows; it notes what was to be sent without a record."""

    unkept: list[TextDue] = field(default_factory=list)

    def wake(self) -> None:
        pass

    def send_unkept(self, texts: Sequence[TextDue]) -> None:
        self.unkept += [text for text in texts if text not in self.unkept]


class Bench:
    """A worker on a real journal with a real engine, its link and clock in the test's hand."""

    def __init__(self, settings: Settings) -> None:
        self.settings = settings
        self.clock = HeldClock()
        self.link = ScriptedLink(self.clock)
        self.stop = threading.Event()
        self.texts = NoTexts()
        self.steps: list[Step] = []
        self.journal = Journal.open(settings.journal.path)
        self.begin()

    def begin(self, last_alive: Instant | None = None) -> None:
        """Start the worker, again where there was one: from what the journal holds."""
        engine = resumed_engine(self.settings.depots, self.journal)
        self.keeper = Keeper(
            engine=engine,
            journal=self.journal,
            texts=self.texts,
            clock=self.clock,
            on_steps=self.steps.extend,
        )
        self.worker = Worker(
            engine=engine,
            journal=self.journal,
            decoder=Decoder(self.settings.sources),
            link=self.link,
            keeper=self.keeper,
            clock=self.clock,
            under_way=UnderWay(self.settings.journal.path, self.clock, self.settings.sources),
            on_turn=lambda: None,
            last_alive=last_alive,
        )
        first = Started(time=self.clock.now(), version="1", config_hash="", zone_data="")
        self.worker.begin([first])

    def up(self, *, gap: bool = False) -> None:
        """The link comes up."""
        self.link.arrivals.append(LinkChanged(time=self.clock.now(), up=True, gap=gap))

    def arrive(self, sensor: str, value: float | None, at: Instant | None = None) -> Message:
        """A reading arrives now, measured now or at another time."""
        now = self.clock.now()
        raw = payload(value, now if at is None else at)
        message = Message(topic(sensor), raw, now, False, Token(1, 1))
        self.link.arrivals.append(message)
        return message

    def arrive_bytes(self, sensor: str, raw: bytes) -> None:
        """Something arrives now."""
        message = Message(topic(sensor), raw, self.clock.now(), False, Token(1, 1))
        self.link.arrivals.append(message)

    def again(self, message: Message) -> None:
        """The broker sends a message again, as it does after a connect."""
        self.link.arrivals.append(message._replace(received=self.clock.now()))

    def round(self, **changed: float) -> None:
        """All sensors speak; names with underscores for hyphens."""
        values = CALM | {name.replace("_", "-"): value for name, value in changed.items()}
        for sensor, value in values.items():
            self.arrive(sensor, value)
        self.turn()

    def round_at(self, at: Instant, **changed: float) -> None:
        """All sensors speak, by a clock of their own."""
        values = CALM | {name.replace("_", "-"): value for name, value in changed.items()}
        for sensor, value in values.items():
            self.arrive(sensor, value, at)
        self.turn()

    def turn(self) -> None:
        """One round of the worker, and more until all that arrived is through."""
        self.worker.turn(self.stop)
        while self.link.arrivals:
            self.worker.turn(self.stop)

    def fill_disk(self) -> None:
        """From now on the journal can't grow."""
        pages = self.journal.handle._db.execute("PRAGMA page_count").fetchone()[0]
        self.journal.handle._db.execute(f"PRAGMA max_page_count = {pages}")

    def make_room(self) -> None:
        """The journal can grow again."""
        self.journal.handle._db.execute("PRAGMA max_page_count = 1000000")

    def assert_replays(self) -> None:
        """The journal's entries through a fresh engine give what was committed."""
        engine = Engine(self.settings.depots)
        for placed in self.journal.ordering.steps():
            assert (placed.entry, engine.step(placed.entry)) == (placed.entry, placed.outputs)


@pytest.fixture
def bench(tmp_path: Path) -> Iterator[Bench]:
    """A worker that has begun."""
    made = Bench(load_settings(write_config(tmp_path, 1)))
    yield made
    made.journal.close()
