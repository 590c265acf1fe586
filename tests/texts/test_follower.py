"""The texts follower with its threads and a real gateway on loopback."""

import threading
from collections.abc import Callable, Iterator
from contextlib import contextmanager
from pathlib import Path

import pytest

from brineward.clock import Clock, CompressedClock, MachineClock
from brineward.config.settings import Channel, FileChannel, HttpChannel, Person
from brineward.journal.journal import Journal
from brineward.readings.entries import Delivery, Tick
from brineward.readings.outputs import Notice, Step
from brineward.texts.attempts import Outcome
from brineward.texts.dispatch import Outbox
from brineward.texts.follower import TextsFollower, sender_of
from brineward.texts.senders import OutgoingText, Sender
from faults.small_disks import fill, small_disk
from gateways import Answer, Gateway, free_port, wait_until
from outboxes import NOW, MemoryOutbox, Text, high_text

PEOPLE = {
    "yard": Person(id="yard", name="Yard lead", channel="phone", address="+1 555 0141"),
    "desk": Person(id="desk", name="Dispatch desk", channel="file", address="+1 555 0140"),
}

DUE = high_text("tern-hollow-12-raised-1-yard", "TH12 HIGH")


@pytest.fixture(autouse=True)
def _no_proxy(monkeypatch: pytest.MonkeyPatch) -> None:
    for name in ("http_proxy", "all_proxy", "HTTP_PROXY"):
        monkeypatch.delenv(name, raising=False)


def text(number: int, person: str = "yard") -> Text:
    """A text about an alarm."""
    notice = Notice(kind="raised", plain=f"TH{number} HIGH")
    return Text(id=f"{number}-{person}", number=number, person=person, notice=notice)


class House:
    """An outbox, and followers on it."""

    def __init__(self, folder: Path) -> None:
        self.outbox = MemoryOutbox()
        self.file = folder / "texts.jsonl"
        self.troubles: list[str] = []
        self.clock: Clock = CompressedClock(start=NOW, factor=100)

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
        open_outbox: Callable[[], Outbox] | None = None,
        make_sender: Callable[[Channel, Clock], Sender] = sender_of,
        on_trouble: Callable[[str], None] | None = None,
    ) -> Iterator[TextsFollower]:
        """A follower at work."""
        follower = TextsFollower(
            open_outbox or (lambda: self.outbox),
            channels,
            PEOPLE,
            self.clock,
            on_trouble or self.troubles.append,
            key_of=lambda due: due.id,
            make_sender=make_sender,
        )
        follower.start()
        try:
            yield follower
        finally:
            follower.stop()
        assert not follower.is_alive()

    def wait_for_settled(self, count: int) -> list[tuple[str, str]]:
        """How texts ended, once so many have."""
        wait_until(lambda: len(self.outbox.settled()) >= count)
        return self.outbox.settled()


@pytest.fixture
def house(tmp_path: Path) -> House:
    """A house with an outbox of its own."""
    return House(tmp_path)


def test_a_text_goes_from_the_outbox_to_the_gateway_and_back(house: House) -> None:
    """The gateway has its words and its key; the outbox hears that it was accepted."""
    with Gateway() as gateway, house.following(house.channels(gateway.url)) as follower:
        wait_until(follower.progress)
        house.outbox.add(text(12))
        follower.wake()
        asked = gateway.wait_for(1)[0]
        settled = house.wait_for_settled(1)
    assert asked.json() == {"to": "+1 555 0141", "text": "TH12 HIGH"}
    assert asked.headers["idempotency-key"] == "k7-12-yard"
    assert settled == [("accepted", "12-yard")]
    assert house.troubles == []


def test_a_storm_of_500_loses_nothing(house: House) -> None:
    """Every text arrives once the gateway has recovered, each with the same key on each try."""
    storm = [Answer(status=500)] * 4 + [Answer(fault="reset"), Answer(fault="garbage")]
    with Gateway(*storm) as gateway, house.following(house.channels(gateway.url)) as follower:
        house.outbox.add(*(text(number) for number in (12, 13, 14)))
        follower.wake()
        settled = house.wait_for_settled(3)
        asked = gateway.asked
    assert {how for how, _ in settled} == {"accepted"}
    assert len(asked) == 9
    by_id = {(each.headers["idempotency-key"], each.json()["text"]) for each in asked}
    assert by_id == {(f"k7-{n}-yard", f"TH{n} HIGH") for n in (12, 13, 14)}


def test_a_dead_gateway_is_given_up_and_the_file_does_not_wait(house: House) -> None:
    """After its time the outbox hears why; meanwhile another channel's text has gone out."""
    channels = house.channels(f"http://127.0.0.1:{free_port()}/", give_up_after_seconds=60.0)
    house.outbox.add(text(12), text(13, "desk"))
    with house.following(channels):
        settled = house.wait_for_settled(2)
    assert settled[0] == ("accepted", "13-desk")
    assert settled[1][1] == "12-yard"
    assert "Connection refused" in settled[1][0]
    assert "TH13" in house.file.read_text("utf-8")


def test_a_hanging_gateway_does_not_hold_up_the_file(house: House) -> None:
    """The file's texts are all out while the gateway's first is still in the air."""
    house.clock = MachineClock()
    slow = house.channels("", answer_timeout_seconds=20.0)
    with Gateway(*[Answer(fault="hang")] * 5) as gateway:
        slow = house.channels(gateway.url, answer_timeout_seconds=2.0)
        house.outbox.add(text(12), *(text(number, "desk") for number in range(20, 30)))
        with house.following(slow):
            gateway.wait_for(1)
            settled = house.wait_for_settled(10)
            assert {text_id.rpartition("-")[2] for _, text_id in settled} == {"desk"}
            assert len(gateway.asked) == 1


def test_what_was_in_the_air_at_a_stop_is_sent_again_with_the_same_key(house: House) -> None:
    """Nobody knows whether the gateway has it: at least once, and recognisable."""
    house.outbox.add(text(12))
    with Gateway(Answer(fault="hang")) as gateway:
        with house.following(house.channels(gateway.url, answer_timeout_seconds=30.0)):
            gateway.wait_for(1)
        assert house.outbox.settled() == []
        with house.following(house.channels(gateway.url)):
            house.wait_for_settled(1)
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

    house.outbox.add(text(13, "desk"))
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
    assert house.outbox.settled() == [("accepted", "13-desk")]


def test_an_outbox_that_breaks_is_reported_once_and_opened_again(house: House) -> None:
    """The follower's thread survives any error of the outbox and of whoever is told."""
    failures = iter(
        [OSError(5, "Input/output error"), OSError(5, "Input/output error"), KeyError()]
    )
    heard: list[str] = []

    def open_outbox() -> Outbox:
        failure = next(failures, None)
        if failure is not None:
            raise failure
        return house.outbox

    def tell(sentence: str) -> None:
        heard.append(sentence)
        raise RuntimeError("nobody listens")

    house.outbox.add(text(13, "desk"))
    with house.following(
        house.channels("http://127.0.0.1:9/"), open_outbox=open_outbox, on_trouble=tell
    ) as follower:
        house.wait_for_settled(1)
        assert follower.is_alive()
        assert follower.progress() is not None
    assert len(heard) == 2
    assert "Input/output error" in heard[0]
    assert "KeyError" in heard[1]


def test_a_channel_with_a_bug_does_not_stop_the_others(house: House) -> None:
    """An unexpected error of one channel is reported; the other goes on."""

    class Broken:
        def send(self, text: OutgoingText) -> Outcome:
            """Fail in a way that nobody foresaw."""
            raise LookupError("hush")

    def make_sender(channel: Channel, clock: Clock) -> Sender:
        return Broken() if channel.id == "phone" else sender_of(channel, clock)

    house.outbox.add(text(12), text(13, "desk"))
    channels = house.channels("http://127.0.0.1:9/", give_up_after_seconds=20.0)
    with house.following(channels, make_sender=make_sender):
        settled = house.wait_for_settled(2)
    assert {text_id[-4:]: how[:8] for how, text_id in settled} == {
        "desk": "accepted",
        "yard": "dead: gi",
    }
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
        lambda: house.outbox, {}, {}, house.clock, house.troubles.append, key_of=lambda due: due.id
    ).stop()


def test_the_journal_hands_out_a_notice_and_hears_what_became_of_it(
    house: House, tmp_path: Path
) -> None:
    """From the commit of a text to the entry that tells the engine whose text was accepted."""
    path = tmp_path / "house.journal"
    with Gateway() as gateway, Journal.open(path) as journal:
        journal.commit([Step(Tick(time=NOW), (DUE,))])
        channels = house.channels(gateway.url)
        with house.following(channels, open_outbox=lambda: Journal.open(path).outbox):
            wait_until(journal.inbox.waiting)
        delivery = journal.inbox.waiting()[0][1]
        asked = gateway.asked[0]
    assert isinstance(delivery, Delivery)
    assert (delivery.text, delivery.outcome) == (DUE.id, "accepted")
    assert (delivery.number, delivery.person) == (12, "yard")
    assert asked.json()["text"] == "TH12 HIGH"
    assert asked.headers["idempotency-key"].endswith(DUE.id)


def test_a_text_that_was_kept_just_before_the_disk_was_full_is_sent_once(tmp_path: Path) -> None:
    """On a disk that is full to its last byte: sent all the same, settled once there is room."""
    with small_disk(tmp_path / "disk", 8) as disk, Gateway() as gateway:
        house, path = House(tmp_path), disk / "house.journal"
        with Journal.open(path) as journal:
            journal.commit([Step(Tick(time=NOW), (DUE,))])
            journal.room.checkpoint()
            ballast = fill(disk)
            channels = house.channels(gateway.url)
            with house.following(channels, open_outbox=lambda: Journal.open(path).outbox):
                gateway.wait_for(1)
                wait_until(lambda: house.troubles)
                assert journal.inbox.waiting() == [], "no record can be kept of it"
                ballast.unlink()
                wait_until(journal.inbox.waiting)
        assert "full" in house.troubles[0]
        assert len(gateway.asked) == 1
