"""The dispatcher's bookkeeping, turn by turn, on a clock and channels that the test drives."""

import threading
from collections.abc import Callable
from concurrent.futures import Future
from dataclasses import dataclass, replace
from pathlib import Path

import pytest
from hypothesis import given
from hypothesis import strategies as st

from brineward.config.settings import FileChannel, Person
from brineward.readings.instants import HOUR, MINUTE, SECOND
from brineward.readings.outputs import Priority
from brineward.texts.attempts import Accepted, Failed, NeverAccepted, Outcome
from brineward.texts.dispatch import LONGEST_SLEEP_SECONDS, STUCK_AFTER_SECONDS, Dispatcher, Lane
from brineward.texts.senders import OutgoingText
from outboxes import NOW, MemoryOutbox, Text

Send = Callable[[OutgoingText], Outcome]


@dataclass
class DrivenClock:
    """A clock that the test moves."""

    time: int = NOW

    def now(self) -> int:
        """The test's time."""
        return self.time

    def monotonic_seconds(self) -> float:
        """The test's time."""
        return self.time / SECOND

    def wait(self, wake: threading.Event, seconds: float) -> bool:
        """Time passes at once."""
        self.time += round(seconds * SECOND)
        return wake.is_set()


class DrivenPool:
    """Holds each task until the test lets it run."""

    def __init__(self) -> None:
        self.tasks: list[tuple[Future[Outcome], Send, OutgoingText]] = []

    def submit(self, task: Send, text: OutgoingText) -> Future[Outcome]:
        """Keep it for later."""
        future: Future[Outcome] = Future()
        self.tasks.append((future, task, text))
        return future

    def run(self) -> None:
        """Let everything that was submitted run."""
        tasks, self.tasks = self.tasks, []
        for future, task, text in tasks:
            try:
                future.set_result(task(text))
            except ZeroDivisionError as error:
                future.set_exception(error)


class Station:
    """A dispatcher with two channels and what they were given."""

    def __init__(self, *texts: Text, answer: Send | None = None) -> None:
        self.clock = DrivenClock()
        self.outbox = MemoryOutbox(texts)
        self.pools = {"phone": DrivenPool(), "siren": DrivenPool()}
        self.sent: list[OutgoingText] = []
        self.answer = answer or (lambda text: Accepted(receipt="ok"))
        self.troubles: list[str] = []
        self.woken = 0
        lanes = {
            name: Lane(FileChannel(id=name, path=Path("unused")), self, pool)
            for name, pool in self.pools.items()
        }
        self.people = people = {
            "yard": Person(id="yard", name="Yard lead", channel="phone", address="+1 555 0141"),
            "desk": Person(id="desk", name="Dispatch desk", channel="siren", address="+1 555 0140"),
            "lost": Person(id="lost", name="Lost", channel="pigeon"),
        }
        self.dispatcher = Dispatcher(
            self.outbox,
            lanes,
            people,
            self.clock,
            wake=self._count_wake,
            on_trouble=self.troubles.append,
        )

    def _count_wake(self) -> None:
        self.woken += 1

    def send(self, text: OutgoingText) -> Outcome:
        """A channel that answers as the test says."""
        self.sent.append(text)
        return self.answer(text)

    def round(self) -> float:
        """A turn, both channels, and a turn that records."""
        self.dispatcher.turn()
        for pool in self.pools.values():
            pool.run()
        return self.dispatcher.turn()


def test_an_attempt_is_on_record_before_the_channel_is_called() -> None:
    """A crash in between leaves a counted attempt, never an uncounted text."""
    station = Station(Text(id="a"))
    station.dispatcher.turn()
    assert station.outbox.story == [("attempt", "a")]
    assert station.sent == []
    station.pools["phone"].run()
    assert station.woken == 1, "a landed text wakes the dispatcher"
    station.dispatcher.turn()
    assert station.outbox.story == [("attempt", "a"), ("accepted", "a")]
    assert station.sent[0].address == "+1 555 0141"
    assert station.sent[0].attempt == 1


def test_nothing_is_sent_whose_attempt_cannot_be_recorded() -> None:
    """With a full disk the channel is not called: it would be called again for ever."""
    station = Station(Text(id="a"))
    station.outbox.broken = {"attempt"}
    with pytest.raises(OSError, match="No space"):
        station.dispatcher.turn()
    assert station.pools["phone"].tasks == []


def test_an_outcome_that_cannot_be_recorded_is_kept_and_not_sent_again() -> None:
    """The text was accepted while the disk was full: it is recorded later, not repeated."""
    station = Station(Text(id="a"))
    station.dispatcher.turn()
    station.pools["phone"].run()
    station.outbox.broken = {"accepted"}
    for _ in range(3):
        with pytest.raises(OSError, match="No space"):
            station.dispatcher.turn()
    station.outbox.broken = set()
    station.dispatcher.turn()
    assert [sent.key for sent in station.sent] == ["k7-a"]
    assert station.outbox.story[-1] == ("accepted", "a")


def test_an_outcome_that_no_disk_would_take_is_a_failure_and_holds_up_nobody() -> None:
    """What a channel answered can't be recorded: that is reported, the text is tried again later,
    and the other channel's text is sent and recorded."""
    station = Station(Text(id="a"), Text(id="b", person="desk", number=3))
    awaited = Accepted(receipt="ok", known_as="phone:x", receipt_within_seconds=90.0)
    station.answer = lambda text: awaited if text.key == "k7-a" else Accepted(receipt="ok")
    station.outbox.unfit = {"sent"}
    station.round()
    assert station.outbox.story == [
        ("attempt", "a"),
        ("attempt", "b"),
        ("retry", "a"),
        ("accepted", "b"),
    ]
    (trouble,) = station.troubles
    assert "channel phone: what became of a text can't be recorded: UnicodeEncodeError" in trouble
    station.outbox.unfit = set()
    station.clock.time += MINUTE
    station.round()
    assert station.outbox.story[-2:] == [("attempt", "a"), ("sent", "a")]


def test_where_nothing_of_a_text_can_be_recorded_it_is_not_sent_time_and_again() -> None:
    """Its turn fails each time, and the channel is called once."""
    station = Station(Text(id="a"))
    station.outbox.unfit = {"accepted", "retry"}
    station.dispatcher.turn()
    station.pools["phone"].run()
    for _ in range(3):
        with pytest.raises(UnicodeEncodeError):
            station.dispatcher.turn()
    assert len(station.sent) == 1


def test_a_text_that_cannot_be_launched_holds_up_no_other() -> None:
    """The one fails by itself; the other is on its way before the turn says so."""
    station = Station(Text(id="a", person="gone"), Text(id="b", person="desk", number=3))
    station.outbox.unfit = {"dead: nobody called gone is in the config any more"}
    with pytest.raises(UnicodeEncodeError):
        station.dispatcher.turn()
    station.pools["siren"].run()
    assert [sent.key for sent in station.sent] == ["k7-b"]


def test_a_channel_that_never_answers_holds_up_nobody_else() -> None:
    """The other channel's texts go out; the stuck one is reported once, and is not called twice."""
    waiting = [Text(id=f"p{count}", number=count) for count in range(200)]
    station = Station(*waiting, Text(id="s", person="desk", priority=Priority.LOW))
    station.dispatcher.turn()
    station.pools["siren"].run()
    station.clock.time += round(STUCK_AFTER_SECONDS * SECOND) + 1
    station.dispatcher.turn()
    station.dispatcher.turn()
    assert [sent.key for sent in station.sent] == ["k7-s"]
    assert len(station.pools["phone"].tasks) == 1
    assert station.troubles == ["channel phone has been busy with one text for 120 s"]


def test_high_goes_first_when_the_lane_is_free() -> None:
    """A high priority that comes later overtakes everything that has not been launched."""
    low = Text(id="low", number=1, priority=Priority.LOW, created=NOW - HOUR)
    middle = Text(id="middle", number=2, priority=Priority.MEDIUM, created=NOW - HOUR)
    station = Station(low, middle, Text(id="high", number=3))
    for _ in range(3):
        station.round()
    assert [sent.key for sent in station.sent] == ["k7-high", "k7-middle", "k7-low"]


def test_an_unexpected_error_of_a_channel_is_reported_and_the_text_tried_again() -> None:
    """A bug in a channel loses no text, and its words, which may hold a secret, are not shown."""

    def break_down(text: OutgoingText) -> Outcome:
        raise ZeroDivisionError("hush")

    station = Station(Text(id="a"), answer=break_down)
    station.round()
    assert station.outbox.story == [("attempt", "a"), ("retry", "a")]
    assert "channel phone failed unexpectedly: ZeroDivisionError at " in station.troubles[0]
    assert "hush" not in station.troubles[0]


def test_a_text_that_can_reach_nobody_is_given_up() -> None:
    """A person or channel that left the config is said, so that the next route is tried."""
    station = Station(Text(id="a", person="gone"), Text(id="b", person="lost", number=3))
    station.round()
    assert station.outbox.story == [
        ("dead: nobody called gone is in the config any more", "a"),
        ("dead: the channel pigeon of lost is not in the config", "b"),
    ]


def test_the_dispatcher_sleeps_until_the_next_text_but_never_long() -> None:
    """A missed wake-up costs seconds, and a text in back-off is not late."""
    station = Station(Text(id="a"), answer=lambda text: Failed(why="busy"))
    assert 2.4 < station.round() <= 5.0  # 5 s back-off, jittered
    station.outbox.texts["a"] = replace(station.outbox.texts["a"], next_attempt=NOW + MINUTE)
    assert station.dispatcher.turn() == LONGEST_SLEEP_SECONDS
    station.outbox.texts.clear()
    assert station.dispatcher.turn() == LONGEST_SLEEP_SECONDS


@given(
    st.lists(st.sampled_from(["ok", "busy", "never", "bug"]), max_size=30),
    st.lists(
        st.builds(
            Text,
            id=st.text("abcdef", min_size=1, max_size=3),
            number=st.integers(1, 3),
            person=st.sampled_from(["yard", "desk", "gone"]),
            priority=st.sampled_from(Priority),
            created=st.integers(NOW - 2 * HOUR, NOW),
        ),
        max_size=6,
        unique_by=lambda text: text.id,
    ),
)
def test_every_text_ends_accepted_or_dead_and_is_then_left_alone(
    luck: list[str], texts: list[Text]
) -> None:
    """Whatever the channels do, each text is settled once, after its attempts, in bounded time."""
    outcomes = iter(luck)

    def answer(text: OutgoingText) -> Outcome:
        match next(outcomes, "busy"):
            case "ok":
                return Accepted()
            case "never":
                return NeverAccepted(why="no such number")
            case "bug":
                raise ZeroDivisionError
            case _:
                return Failed(why="busy")

    station = Station(*texts, answer=answer)
    for _ in range(3000):
        station.clock.time += round(station.round() * SECOND)
        if not station.outbox.texts:
            break
    assert station.outbox.texts == {}
    for text in texts:
        own = [what for what, text_id in station.outbox.story if text_id == text.id]
        settled = [what for what in own if what == "accepted" or what.startswith("dead")]
        assert settled == own[-1:]
        attempts = [sent.attempt for sent in station.sent if sent.key == text.key]
        assert attempts == list(range(1, len(attempts) + 1))
        assert own.count("attempt") == len(attempts)
    assert {text.notice.plain for text in station.sent} <= {"TH12"}


def test_a_channel_without_its_secret_is_reported_once_and_tried_again() -> None:
    """The operator reads it at once, not at every attempt; once it works, a new fault is news."""
    missing = Failed(why="channel phone: TOKEN is not set", channel_unusable=True)
    answers = iter([missing, missing, Accepted(), missing])
    station = Station(Text(id="a"), answer=lambda text: next(answers))
    for _ in range(3):
        station.clock.time += MINUTE
        station.round()
    assert station.troubles == ["channel phone: TOKEN is not set"]
    assert station.outbox.settled() == [("accepted", "a")]
    station.outbox.add(Text(id="b"))
    station.round()
    assert len(station.troubles) == 2


def test_while_landing_nothing_new_is_sent() -> None:
    """A stop records what comes back and begins nothing; it hears when all has landed."""
    station = Station(Text(id="a"), Text(id="b", number=13))
    station.dispatcher.turn()
    assert station.dispatcher.land(), "a is in the air"
    station.pools["phone"].run()
    assert not station.dispatcher.land()
    assert station.outbox.story == [("attempt", "a"), ("accepted", "a")]


def two_ways(station: Station) -> None:
    """The yard lead is reached by phone, then by siren."""
    station.people["yard"] = Person(
        id="yard", name="Yard lead", channels=("phone", "siren"), address="+1 555 0141"
    )


def test_the_second_way_is_used_at_once_where_the_first_fails() -> None:
    """The wait between attempts comes only after the last way."""
    station = Station(Text(id="a"))
    two_ways(station)
    station.answer = lambda text: Failed(why="down") if text.attempt < 4 else Accepted()
    station.round()
    assert [way for way, _ in station.outbox.story] == ["attempt", "way 1", "attempt"]
    station.round()
    station.round()
    tried = len(station.sent)
    assert tried == 2, "both ways once, then the wait"
    station.clock.time += 10 * SECOND
    station.round()
    station.round()
    assert [text.attempt for text in station.sent] == [1, 2, 3, 4]
    assert station.outbox.settled() == [("accepted", "a")]


def test_a_text_that_no_way_will_ever_take_is_dead_and_says_why_of_each() -> None:
    """Then the next person is told, not later."""
    station = Station(Text(id="a"))
    two_ways(station)
    station.answer = lambda text: NeverAccepted(why=f"no, {text.attempt}")
    for _ in range(4):
        station.round()
    assert station.outbox.settled() == [("dead: no, 1; no, 2", "a")]


def test_no_receipt_in_time_counts_as_failed_by_that_way() -> None:
    """A gateway that takes everything and delivers nothing: the other way is used, once."""
    station = Station(Text(id="a"))
    two_ways(station)
    awaited = Accepted(known_as="phone:1", receipt_within_seconds=90.0)
    station.answer = lambda text: awaited if text.attempt == 1 else Accepted()
    station.round()
    assert station.outbox.story[-1] == ("sent", "a")
    station.clock.time += 80 * SECOND
    station.round()
    assert len(station.sent) == 1, "nothing before the time is up"
    station.clock.time += 11 * SECOND
    for _ in range(3):
        station.round()
    assert len(station.sent) == 2
    assert station.outbox.settled() == [("accepted", "a")]


def test_no_receipt_by_the_only_way_is_a_text_that_failed() -> None:
    """It is not sent again by the same way: whoever is next on call is told."""
    station = Station(Text(id="a"))
    station.answer = lambda text: Accepted(known_as="phone:1", receipt_within_seconds=90.0)
    station.round()
    station.clock.time += 91 * SECOND
    station.round()
    assert len(station.sent) == 1
    ((how, _),) = station.outbox.settled()
    assert "no receipt came in time" in how


def test_a_text_whose_receipt_is_awaited_holds_up_no_other() -> None:
    """What was raised and is on its way does not keep "cleared" from being sent."""
    station = Station(Text(id="a"))
    station.answer = lambda text: Accepted(known_as=f"phone:{text.key}", receipt_within_seconds=90)
    station.round()
    station.outbox.add(Text(id="b", kind="cleared", created=NOW + 1))
    station.round()
    assert [text.kind for text in station.sent] == ["raised", "cleared"]
