"""The outbox follower with its threads, the real journal and a real gateway on loopback."""

import threading
from collections.abc import Callable, Iterator
from contextlib import contextmanager
from pathlib import Path

import pytest

from brineward.clock import Clock, CompressedClock, MachineClock
from brineward.config.settings import Channel, FileChannel, HttpChannel, Person
from brineward.journal.journal import Journal
from brineward.readings.entries import Delivery, Tick
from brineward.readings.outputs import Priority, Step, TextDue
from brineward.texts.attempts import Outcome
from brineward.texts.follower import TextsFollower, sender_of
from brineward.texts.senders import OutgoingText, Sender
from gateways import Answer, Gateway, free_port, wait_until

NOW = 1_767_225_600_000
PEOPLE = {
    "yard": Person(id="yard", name="Yard lead", channel="phone", address="+1 555 0141"),
    "desk": Person(id="desk", name="Dispatch desk", channel="file", address="+1 555 0140"),
}


@pytest.fixture(autouse=True)
def _no_proxy(monkeypatch: pytest.MonkeyPatch) -> None:
    for name in ("http_proxy", "all_proxy", "HTTP_PROXY"):
        monkeypatch.delenv(name, raising=False)


def text(number: int, person: str = "yard", **changes: object) -> TextDue:
    """A text about an alarm."""
    usual: dict[str, object] = {
        "id": f"tern-hollow-{number}-raised-1-{person}",
        "time": NOW,
        "depot": "tern-hollow",
        "number": number,
        "person": person,
        "kind": "raised",
        "priority": Priority.HIGH,
        "body": f"TH{number} HIGH",
    }
    return TextDue(**(usual | changes))


class House:
    """A journal, and followers on it."""

    def __init__(self, folder: Path) -> None:
        self.path = folder / "house.journal"
        self.file = folder / "texts.jsonl"
        self.journal = Journal.open(self.path)
        self.troubles: list[str] = []
        self.clock: Clock = CompressedClock(start=NOW, factor=100)

    def due(self, *texts: TextDue) -> None:
        """Texts become due, as the service commits them."""
        self.journal.commit([Step(Tick(time=NOW), texts)])

    def channels(self, url: str, **changes: object) -> dict[str, Channel]:
        """A gateway and a file."""
        usual: dict[str, object] = {
            "id": "phone",
            "url": url,
            "fields": {"to": "{address}", "text": "{body}"},
            "connect_timeout_seconds": 0.3,
            "answer_timeout_seconds": 0.5,
        }
        return {
            "phone": HttpChannel(**(usual | changes)),
            "file": FileChannel(id="file", path=self.file),
        }

    @contextmanager
    def following(
        self,
        channels: dict[str, Channel],
        *,
        open_outbox: Callable[[], Journal] | None = None,
        make_sender: Callable[[Channel, Clock], Sender] = sender_of,
        on_trouble: Callable[[str], None] | None = None,
    ) -> Iterator[TextsFollower]:
        """A follower at work."""
        follower = TextsFollower(
            open_outbox or (lambda: Journal.open(self.path)),
            channels,
            PEOPLE,
            self.clock,
            on_trouble or self.troubles.append,
            make_sender=make_sender,
        )
        follower.start()
        try:
            yield follower
        finally:
            follower.stop()
        assert not follower.is_alive()

    def deliveries(self) -> list[Delivery]:
        """What the service is told."""
        return [entry for _, entry in self.journal.inbox() if isinstance(entry, Delivery)]

    def wait_for_deliveries(self, count: int) -> list[Delivery]:
        """What the service is told, once it is so much."""
        wait_until(lambda: len(self.deliveries()) >= count)
        return self.deliveries()


@pytest.fixture
def house(tmp_path: Path) -> Iterator[House]:
    """A house with a journal of its own."""
    built = House(tmp_path)
    yield built
    built.journal.close()


def test_a_text_goes_from_the_journal_to_the_gateway_and_back(house: House) -> None:
    """The gateway has its words and its id; the service is told that it was accepted."""
    with Gateway() as gateway, house.following(house.channels(gateway.url)) as follower:
        wait_until(follower.progress)
        house.due(text(12))
        follower.wake()
        asked = gateway.wait_for(1)[0]
        told = house.wait_for_deliveries(1)
    assert asked.json() == {"to": "+1 555 0141", "text": "TH12 HIGH"}
    assert asked.headers["idempotency-key"] == "tern-hollow-12-raised-1-yard"
    assert [(each.text, each.outcome) for each in told] == [
        ("tern-hollow-12-raised-1-yard", "accepted")
    ]
    assert house.troubles == []


def test_a_storm_of_500_loses_nothing(house: House) -> None:
    """Every text arrives once the gateway has recovered, each with the same id on each try."""
    storm = [Answer(status=500)] * 4 + [Answer(fault="reset"), Answer(fault="garbage")]
    with Gateway(*storm) as gateway, house.following(house.channels(gateway.url)) as follower:
        house.due(*(text(number) for number in (12, 13, 14)))
        follower.wake()
        told = house.wait_for_deliveries(3)
        asked = gateway.asked
    assert {each.outcome for each in told} == {"accepted"}
    assert len(asked) == 9
    by_id = {(each.headers["idempotency-key"], each.json()["text"]) for each in asked}
    assert by_id == {(f"tern-hollow-{n}-raised-1-yard", f"TH{n} HIGH") for n in (12, 13, 14)}


def test_a_dead_gateway_becomes_a_dead_letter_and_the_file_does_not_wait(house: House) -> None:
    """After its time the service is told why; meanwhile another channel's text has gone out."""
    channels = house.channels(f"http://127.0.0.1:{free_port()}/", give_up_after_seconds=60.0)
    house.due(text(12), text(13, "desk"))
    with house.following(channels):
        told = house.wait_for_deliveries(2)
    assert [(each.text, each.outcome) for each in told] == [
        ("tern-hollow-13-raised-1-desk", "accepted"),
        ("tern-hollow-12-raised-1-yard", "dead"),
    ]
    assert "Connection refused" in told[1].why
    assert "TH13" in house.file.read_text("utf-8")


def test_a_hanging_gateway_does_not_hold_up_the_file(house: House) -> None:
    """The file's texts are all out while the gateway's first is still in the air."""
    house.clock = MachineClock()
    slow = house.channels("", answer_timeout_seconds=20.0)
    with Gateway(*[Answer(fault="hang")] * 5) as gateway:
        slow = house.channels(gateway.url, answer_timeout_seconds=2.0)
        house.due(text(12), *(text(number, "desk") for number in range(20, 30)))
        with house.following(slow):
            gateway.wait_for(1)
            told = house.wait_for_deliveries(10)
            assert {each.text.rpartition("-")[2] for each in told} == {"desk"}
            assert len(gateway.asked) == 1


def test_what_was_in_the_air_at_a_stop_is_sent_again_with_the_same_id(house: House) -> None:
    """Nobody knows whether the gateway has it: at least once, and recognisable."""
    house.due(text(12))
    with Gateway(Answer(fault="hang")) as gateway:
        with house.following(house.channels(gateway.url, answer_timeout_seconds=30.0)):
            gateway.wait_for(1)
        assert house.deliveries() == []
        with house.following(house.channels(gateway.url)):
            house.wait_for_deliveries(1)
        first, second = gateway.asked
    assert first.headers["idempotency-key"] == second.headers["idempotency-key"]
    assert first.body == second.body


def test_what_lands_during_a_stop_is_recorded(house: House) -> None:
    """A stop waits for the answer that is on its way, so that nobody gets a text twice."""
    house.clock = MachineClock()
    sending, answer_now = threading.Event(), threading.Event()

    class Patient:
        def __init__(self, sender: Sender) -> None:
            self._sender = sender

        def send(self, text: OutgoingText) -> Outcome:
            """Hand it over only once the follower is stopping."""
            sending.set()
            assert answer_now.wait(10)
            return self._sender.send(text)

    house.due(text(13, "desk"))
    with house.following(
        house.channels("http://127.0.0.1:9/"),
        make_sender=lambda channel, clock: Patient(sender_of(channel, clock)),
    ) as follower:
        assert sending.wait(10)
        stopper = threading.Thread(target=follower.stop)
        stopper.start()
        wait_until(follower._stopping.is_set)
        answer_now.set()
        stopper.join()
    assert [each.outcome for each in house.deliveries()] == ["accepted"]


def test_an_outbox_that_breaks_is_reported_once_and_opened_again(house: House) -> None:
    """The follower's thread survives any error of the outbox and of whoever is told."""
    failures = iter(
        [OSError(5, "Input/output error"), OSError(5, "Input/output error"), KeyError()]
    )
    told: list[str] = []

    def open_outbox() -> Journal:
        failure = next(failures, None)
        if failure is not None:
            raise failure
        return Journal.open(house.path)

    def tell(sentence: str) -> None:
        told.append(sentence)
        raise RuntimeError("nobody listens")

    house.due(text(13, "desk"))
    with house.following(
        house.channels("http://127.0.0.1:9/"), open_outbox=open_outbox, on_trouble=tell
    ) as follower:
        house.wait_for_deliveries(1)
        assert follower.is_alive()
        assert follower.progress() is not None
    assert len(told) == 2
    assert "Input/output error" in told[0]
    assert "KeyError" in told[1]


def test_a_channel_with_a_bug_does_not_stop_the_others(house: House) -> None:
    """An unexpected error of one channel is reported; the other goes on."""

    class Broken:
        def send(self, text: OutgoingText) -> Outcome:
            """Fail in a way that nobody foresaw."""
            raise LookupError("hush")

    def make_sender(channel: Channel, clock: Clock) -> Sender:
        return Broken() if channel.id == "phone" else sender_of(channel, clock)

    house.due(text(12), text(13, "desk"))
    channels = house.channels("http://127.0.0.1:9/", give_up_after_seconds=20.0)
    with house.following(channels, make_sender=make_sender):
        told = house.wait_for_deliveries(2)
    assert {each.text[-4:]: each.outcome for each in told} == {"desk": "accepted", "yard": "dead"}
    assert any("channel phone failed unexpectedly: LookupError" in each for each in house.troubles)
    assert not any("hush" in each for each in house.troubles)


def test_progress_is_seen_without_any_text(house: House) -> None:
    """A watchdog can tell an idle follower from a dead one: the stamp moves by itself."""
    with house.following(house.channels("http://127.0.0.1:9/")) as follower:
        wait_until(follower.progress)
        first = follower.progress()
        assert first is not None
        wait_until(lambda: (follower.progress() or first).at > first.at)


class WatchedClock(MachineClock):
    """Notes at each wait whether there was anything to wait for, and waits briefly."""

    def __init__(self) -> None:
        self.already_awake: list[bool] = []

    def wait(self, wake: threading.Event, seconds: float) -> bool:
        """A short wait."""
        self.already_awake.append(wake.is_set())
        return super().wait(wake, min(seconds, 0.01))


def test_a_wake_up_is_used_up(house: House) -> None:
    """One wake-up is one look at the outbox, not a busy loop from then on."""
    clock = house.clock = WatchedClock()
    with house.following(house.channels("http://127.0.0.1:9/")) as follower:
        wait_until(follower.progress)
        follower.wake()
        before = len(clock.already_awake)
        wait_until(lambda: len(clock.already_awake) > before + 20)
        assert sum(clock.already_awake[before:]) <= 2


def test_a_follower_that_never_started_can_be_stopped(house: House) -> None:
    """A service that fails on its way up can still be taken down."""
    TextsFollower(
        lambda: Journal.open(house.path), {}, {}, house.clock, house.troubles.append
    ).stop()
