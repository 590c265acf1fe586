"""The worker: nothing is acknowledged before it is kept, and a replay equals what it concluded."""

import logging
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
from brineward.readings.entries import LinkChanged, ServiceTrouble, Started, Take, Tick
from brineward.readings.instants import DAY, HOUR, MINUTE, SECOND, Instant
from brineward.readings.outputs import AlarmState, Priority, Step, TextDue
from brineward.readings.values import Reading
from brineward.service.keeper import Keeper
from brineward.service.resume import resumed_engine
from brineward.service.under_way import UnderWay
from brineward.service.watchman import Watchman
from journal.samples import asked
from services import CALM, DEPOT, payload, topic, write_config

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

    @property
    def waiting(self) -> int:
        return len(self.arrivals)

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
        self.watchman = Watchman(
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
        self.watchman.begin([first])

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

    def again(self, message: Message) -> None:
        """The broker sends a message again, as it does after a connect."""
        self.link.arrivals.append(message._replace(received=self.clock.now()))

    def round(self, **changed: float) -> None:
        """All sensors speak; names with underscores for hyphens."""
        values = CALM | {name.replace("_", "-"): value for name, value in changed.items()}
        for sensor, value in values.items():
            self.arrive(sensor, value)
        self.turn()

    def turn(self) -> None:
        """One round of the worker, and more until all that arrived is through."""
        self.watchman.turn(self.stop)
        while self.link.arrivals:
            self.watchman.turn(self.stop)

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


def test_what_is_kept_is_acknowledged(bench: Bench) -> None:
    """Every message of a committed batch is acknowledged, in the order of its arrival."""
    bench.up()
    messages = [bench.arrive("main-level", 1.5), bench.arrive("spare-level", 1.2)]
    bench.turn()
    assert bench.link.acknowledged == messages
    assert len(asked(bench.journal).readings.latest(DEPOT)) == 2


def test_nothing_is_acknowledged_while_the_disk_is_full(bench: Bench) -> None:
    """The batch is tried again until there is room; only then is it acknowledged, and once."""
    bench.up()
    bench.turn()
    bench.fill_disk()
    message = bench.arrive("main-level", 1.5)
    for _ in range(300):  # rows fill the room that pages in use still have
        bench.arrive("spare-level", 1.2, bench.clock.now() - len(bench.link.arrivals))
    for _ in range(20):
        bench.turn()
        assert bench.link.acknowledged == []
    bench.make_room()
    for _ in range(8):
        bench.turn()
    assert bench.link.acknowledged[0] == message
    assert len(bench.link.acknowledged) == 301
    bench.assert_replays()


def test_while_the_disk_is_full_the_watch_goes_on(bench: Bench) -> None:
    """A pump against a closed valve is raised and texted though nothing of it can be recorded;
    the disk is told of as well, and once there is room all of it is kept."""
    bench.up()
    bench.round()
    bench.fill_disk()
    for number in range(300):
        bench.arrive("spare-level", 1.2, bench.clock.now() - number)
    bench.turn()
    acknowledged = len(bench.link.acknowledged)
    for _ in range(10):
        bench.clock.time += SECOND
        bench.round(**AGAINST_CLOSED_VALVE)
    assert len(bench.link.acknowledged) == acknowledged
    assert asked(bench.journal).alarms.active() == []
    (due,) = bench.texts.unkept
    assert (due.person, due.kind, due.priority) == ("yard", "raised", Priority.HIGH)

    bench.make_room()
    for _ in range(8):
        bench.turn()
    assert len(bench.link.acknowledged) == acknowledged + 300 + 10 * len(CALM)
    assert [a.change.alarm for a in asked(bench.journal).alarms.active()] == ["closed-valve"]
    assert [text.id for text in asked(bench.journal).texts.newest()] == [due.id]
    troubles = [e for e in bench.journal.ordering.entries() if isinstance(e, ServiceTrouble)]
    assert [(one.trouble, one.present) for one in troubles] == [
        ("disk-low", True),
        ("disk-low", False),
    ]
    bench.assert_replays()


def test_held_acts_are_taken_once(bench: Bench) -> None:
    """What waits in the inbox is dealt with once, though its end can't be recorded yet."""
    bench.up()
    bench.round()
    for _ in range(20):
        bench.turn()
    now = bench.clock.now()
    bench.journal.inbox.post(Take(depot=DEPOT, time=now, received=now, number=1, by="yard"))
    bench.fill_disk()
    for number in range(300):
        bench.arrive("spare-level", 1.2, now - number)
    for _ in range(20):
        bench.turn()
    assert len(bench.journal.inbox.waiting()) == 1
    bench.make_room()
    for _ in range(8):
        bench.turn()
    assert bench.journal.inbox.waiting() == []
    assert sum(isinstance(e, Take) for e in bench.journal.ordering.entries()) == 1
    bench.assert_replays()


def test_so_much_is_held_and_no_more(bench: Bench, monkeypatch: pytest.MonkeyPatch) -> None:
    """Memory is bounded: beyond it the worker waits for the disk, and obeys when told to stop."""
    monkeypatch.setattr("brineward.service.keeper.MOST_HELD", 400)
    bench.up()
    bench.turn()
    bench.fill_disk()
    for number in range(1_200):
        bench.arrive("spare-level", 1.2, bench.clock.now() - number)
    for _ in range(20):
        bench.watchman.turn(bench.stop)
    assert bench.link.waiting == 700
    waits = bench.clock.waits
    assert waits > 5
    bench.make_room()
    for _ in range(8):
        bench.watchman.turn(bench.stop)
    assert len(bench.link.acknowledged) == 1_200
    bench.assert_replays()


def test_a_batch_is_no_larger_than_its_messages_unfold_to(
    bench: Bench, monkeypatch: pytest.MonkeyPatch
) -> None:
    """Messages of many readings each are taken a few at a time; the rest waits for its turn."""
    monkeypatch.setattr("brineward.service.watchman.MOST_ENTRIES", 100)
    bench.up()
    bench.turn()
    for number in range(250):
        bench.arrive("spare-level", 1.2, bench.clock.now() - number)
    bench.watchman.turn(bench.stop)
    assert len(bench.link.acknowledged) == 100
    bench.watchman.turn(bench.stop)
    bench.watchman.turn(bench.stop)
    assert len(bench.link.acknowledged) == 250
    bench.assert_replays()


def test_stopped_before_the_disk_took_it_the_state_is_not_kept_either(bench: Bench) -> None:
    """A state that had raised an alarm which was never kept would never raise it again."""
    bench.up()
    bench.round(**AGAINST_CLOSED_VALVE)
    bench.fill_disk()
    bench.clock.on_wait = bench.stop.set
    bench.clock.time += 2 * SECOND
    lost = [bench.arrive("pump-running", 1)]
    lost += [bench.arrive("spare-level", 1.2, bench.clock.now() - n) for n in range(300)]
    acknowledged = len(bench.link.acknowledged)
    bench.watchman.turn(bench.stop)
    assert len(bench.link.acknowledged) == acknowledged
    assert asked(bench.journal).alarms.active() == []
    bench.make_room()
    bench.keeper.keep_state()

    bench.stop.clear()
    bench.clock.on_wait = lambda: None
    bench.begin()
    bench.up()
    for message in lost:
        bench.again(message)
    bench.turn()
    assert [a.change.alarm for a in asked(bench.journal).alarms.active()] == ["closed-valve"]
    assert len(asked(bench.journal).texts.newest()) == 1
    bench.assert_replays()


def test_with_a_full_disk_at_the_start_it_watches_all_the_same(bench: Bench) -> None:
    """That the service started can't be noted; what is wrong at the depot is found and told."""
    bench.fill_disk()
    for _ in range(400):  # until the last page is full
        bench.clock.time += 1
        bench.begin()
        if bench.keeper.holding:
            break
    assert bench.keeper.holding
    bench.up()
    for _ in range(10):
        bench.clock.time += SECOND
        bench.round(**AGAINST_CLOSED_VALVE)
    assert [text.kind for text in bench.texts.unkept] == ["raised"]


def test_a_repeat_from_a_clock_that_is_ahead_is_no_news(bench: Bench) -> None:
    """It is judged by its arrival, and the repeat's is later: still the engine sees it once."""
    bench.up()
    bench.round()
    ahead = bench.clock.now() + 40 * SECOND
    message = bench.arrive("spare-level", 9.9, ahead)
    bench.turn()
    for _ in range(3):  # three unbelievable ones would raise an alarm
        bench.clock.time += 2 * SECOND
        bench.again(message)
        bench.turn()
    bench.arrive("spare-level", 9.9, ahead + SECOND)
    for _ in range(2):  # and within one batch
        bench.clock.time += 10
        bench.arrive("spare-level", 9.9, ahead + SECOND)
    bench.turn()
    assert len(bench.link.acknowledged) == len(CALM) + 7
    bench.clock.time += 5 * SECOND
    bench.round()
    assert asked(bench.journal).alarms.active() == []
    bench.assert_replays()


def test_a_late_reading_after_a_tick_replays_the_same(bench: Bench) -> None:
    """A tick moves time; what comes later but was measured earlier is judged by that time."""
    bench.up()
    bench.round()
    while not isinstance(bench.steps[-1].entry, Tick):  # silence is looked at by ticks
        bench.turn()
    tick = bench.steps[-1]
    assert tick.outputs == ()
    for early in (500, 400, 300):  # three that can't be believed, and a delay begins
        bench.arrive("spare-level", 9.9, tick.entry.time - early)
    bench.turn()
    bench.clock.time += 5 * SECOND
    bench.round(spare_level=9.9)
    raised = [c.alarm for c in asked(bench.journal).alarms.history(DEPOT)]
    assert "sensor-implausible" in raised
    bench.assert_replays()


def test_blind_time_is_said_and_kept(bench: Bench, caplog: pytest.LogCaptureFixture) -> None:
    """After the link was away, the log and the journal say for how long, and what it may cost."""
    bench.up()
    bench.turn()
    bench.link.arrivals.append(LinkChanged(time=bench.clock.now(), up=False, why="it broke"))
    bench.turn()
    bench.clock.time += 61 * SECOND
    with caplog.at_level(logging.INFO):
        bench.up()
        bench.turn()
        bench.link.arrivals.append(LinkChanged(time=bench.clock.now(), up=False, why="it broke"))
        bench.clock.time += 10 * MINUTE
        bench.up(gap=True)
        bench.turn()
    kept, missing = [record.message for record in caplog.records if "link back" in record.message]
    assert kept == "link back, blind for 61 s; the broker kept what it had accepted"
    assert missing.startswith("link back, blind for 10 min; readings may be missing")
    whys = [
        entry.why for entry in bench.journal.ordering.entries() if isinstance(entry, LinkChanged)
    ]
    assert whys == ["", "it broke", kept, "it broke", missing]


def test_the_time_between_two_runs_is_blind_time_too(
    bench: Bench, caplog: pytest.LogCaptureFixture
) -> None:
    """A start says since when nobody had watched."""
    bench.clock.time += 5 * MINUTE
    bench.begin(last_alive=START)
    with caplog.at_level(logging.INFO):
        bench.up()
        bench.turn()
    assert "link back, blind for 5 min; the broker kept what it had accepted" in caplog.messages


def test_a_first_start_was_never_blind(bench: Bench, caplog: pytest.LogCaptureFixture) -> None:
    """Where nobody watched before, nothing can be missing."""
    with caplog.at_level(logging.INFO):
        bench.up(gap=True)
        bench.turn()
    assert "link back" not in caplog.text


def test_an_act_waits_until_the_backlog_is_through(bench: Bench) -> None:
    """Somebody takes an alarm while old news still comes: first the news, then the act."""
    bench.up()
    bench.round(**AGAINST_CLOSED_VALVE)
    bench.clock.time += 2 * SECOND
    bench.round(**AGAINST_CLOSED_VALVE)
    bench.turn()
    (active,) = asked(bench.journal).alarms.active()
    now = bench.clock.now()
    bench.up()
    bench.journal.inbox.post(
        Take(depot=DEPOT, time=now, received=now, number=active.change.number, by="yard")
    )
    bench.arrive("spare-level", 1.2, now - 45 * SECOND)
    bench.turn()
    assert asked(bench.journal).alarms.active()[0].change.state is AlarmState.UNACKNOWLEDGED
    for _ in range(20):
        bench.turn()
    assert asked(bench.journal).alarms.active()[0].change.state is AlarmState.ACKNOWLEDGED
    assert bench.journal.inbox.waiting() == []
    bench.assert_replays()


@pytest.mark.parametrize("step", [-HOUR, 400 * DAY])
def test_what_was_posted_before_the_clock_was_set_moves_no_time(bench: Bench, step: int) -> None:
    """It was posted a moment ago, whatever the clock shows now: nothing falls silent by it."""
    bench.up()
    bench.turn()
    now = bench.clock.now()
    trouble = ServiceTrouble(time=now, trouble="disk-low", present=False, sentence="room")
    bench.journal.inbox.post(trouble)
    bench.clock.ahead = step
    for _ in range(40):
        bench.turn()
    assert bench.journal.inbox.waiting() == []
    ended = [change.alarm for change in asked(bench.journal).alarms.history(DEPOT)]
    assert "depot-silent" not in ended
    bench.assert_replays()


def test_time_waits_for_what_came_during_a_short_break(bench: Bench) -> None:
    """What the broker kept comes piecemeal: that the valve was opened in time is still to come."""
    bench.up()
    now = bench.clock.now()
    bench.arrive("pump-running", 1, now - 4 * SECOND)
    bench.arrive("hose-valve-open", 0, now - 4 * SECOND)
    bench.turn()
    bench.arrive("hose-valve-open", 1, now - 4 * SECOND + 500)
    bench.turn()
    bench.round(pump_running=1, hose_valve_open=1)
    for _ in range(20):
        bench.turn()
    assert asked(bench.journal).alarms.active() == []
    bench.assert_replays()


def test_sensors_that_always_come_late_stop_time_only_after_a_connect(bench: Bench) -> None:
    """A line with five seconds' lag: time goes on by the clock once no backlog can be under way."""
    bench.up()
    for _ in range(90):
        bench.clock.time += SECOND
        for sensor, value in AGAINST_CLOSED_VALVE.items():
            bench.arrive(sensor.replace("_", "-"), value, bench.clock.now() - 5 * SECOND)
        bench.turn()
    ticks = [step.entry.time for step in bench.steps if isinstance(step.entry, Tick)]
    assert ticks
    assert min(ticks) > START + 9 * SECOND


def test_a_batch_is_taken_in_the_order_of_its_times(bench: Bench) -> None:
    """Brokers keep order within a topic only; the worker sets a batch right."""
    bench.up()
    now = bench.clock.now()
    bench.arrive("main-level", 1.5, now - 10)
    bench.arrive("spare-level", 1.2, now - 30)
    bench.arrive("shelter-temperature", 12.0, now - 20)
    bench.turn()
    times = [step.entry.time for step in bench.steps if isinstance(step.entry, Reading)]
    assert times == [now - 30, now - 20, now - 10]


def test_a_restart_goes_on_where_the_journal_stands(bench: Bench) -> None:
    """A delay under way, the numbers and who was told outlive the restart."""
    bench.up()
    bench.round(**AGAINST_CLOSED_VALVE)
    bench.begin()
    bench.up()
    bench.clock.time += 2 * SECOND
    bench.round(**AGAINST_CLOSED_VALVE)
    bench.round(**AGAINST_CLOSED_VALVE)
    (active,) = asked(bench.journal).alarms.active()
    assert active.change.time == START + SECOND
    assert active.change.number == 1
    bench.assert_replays()
