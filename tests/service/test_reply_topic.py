"""From a text that a gateway publishes to the journal's inbox, by a real broker."""

import json
import time
from collections.abc import Iterator
from dataclasses import replace
from pathlib import Path

import pytest

from active import commit, raised, takes
from brineward.clock import MachineClock
from brineward.config.load import load_settings
from brineward.config.mistakes import ConfigMistakes
from brineward.config.settings import Settings
from brineward.journal.journal import Journal
from brineward.journal.trouble import DiskTrouble
from brineward.link import topic_ear
from brineward.link.topic_ear import TopicEar
from brineward.readings.entries import Answer
from brineward.readings.instants import HOUR, MINUTE, rfc3339_from_instant
from brineward.service import replying, service
from brineward.service.replying import Replies
from brineward.texts import modem
from brineward.texts.published_text import PublishedText
from brineward.texts.reply_judge import ReplyOutcome
from brokers import Mosquitto, mosquitto, published, until
from services import write_config

__all__ = ["mosquitto"]

TOPIC = "brine/texts/received"
YARD, STRANGER = "+15550141", "+15550199"


class House:
    """The ear on the topic, its journal, and a gateway that publishes there."""

    def __init__(self, settings: Settings, journal: Journal, broker: Mosquitto) -> None:
        self.settings, self.journal, self.broker = settings, journal, broker
        self.last = 900
        self.start()

    def start(self) -> None:
        """Listen with nothing in memory."""
        ear = Replies(self.settings, MachineClock()).topic_ear("0123456789ab")
        assert isinstance(ear, TopicEar)
        self.ear = ear
        self.ear.start()

    def text(
        self, text: str, id_: str, *, sender: str = YARD, ago: int = 0, retain: bool = False
    ) -> None:
        """Somebody texted so many milliseconds ago, and the gateway publishes it now."""
        at = rfc3339_from_instant(MachineClock().now() - ago)
        fields = {"from": sender, "text": text, "id": id_, "received": at}
        payload = json.dumps(fields).encode()
        published(self.broker.port, [(TOPIC, payload)], retain=retain)

    def settled(self) -> None:
        """All that was published before is dealt with: a last reply, which takes nothing, is.

        It is published until it is: the ear may not have subscribed yet.
        """
        self.last += 1
        id_ = f"last-{time.monotonic_ns()}"

        def answered() -> bool:
            self.text(f"TH{self.last}", id_)
            time.sleep(0.1)
            return any(f"TH{self.last} " in one[1] for one in self._answers())

        until(answered, what="the last text is answered")

    def answers(self) -> list[tuple[str, str, str]]:
        """Who is answered what, but for the last replies; what they opted for."""
        return [one for one in self._answers() if "TH9" not in one[1]]

    def _answers(self) -> list[tuple[str, str, str]]:
        waiting = [entry for _, entry in self.journal.inbox.waiting()]
        return [(one.person, one.body, one.opted) for one in waiting if isinstance(one, Answer)]


@pytest.fixture
def house(tmp_path: Path, mosquitto: Mosquitto) -> Iterator[House]:
    """One depot where the yard lead is on call, and TH2 waits to be taken."""
    file = write_config(tmp_path, mosquitto.port)
    file.write_text(f'{file.read_text()}\n[reply_topic]\ntopic = "{TOPIC}"\n')
    settings = load_settings(file)
    with Journal.open(settings.journal.path) as journal:
        commit(journal, raised(2, MachineClock().now()))
        built = House(settings, journal, mosquitto)
        built.settled()
        yield built
        built.ear.stop()


def test_a_published_text_is_a_take(house: House) -> None:
    """The take, and the answer by the person's channel; texts say how to reply."""
    before = len(house.answers())
    house.text("TH2 on it", "m1")
    until(lambda: takes(house.journal) == [(2, "yard")], what="TH2 is taken")
    until(lambda: len(house.answers()) > before, what="it is answered")
    assert house.answers()[before:] == [
        ("yard", "You have TH2. Nobody else will be called about it.", "")
    ]
    assert house.settings.depots["tern-hollow"].duty.replies
    assert house.settings.depots["tern-hollow"].duty.replies_by_broker


def test_a_text_that_is_published_twice_is_answered_once(house: House) -> None:
    """Also where the service was started again in between: QoS 1 may deliver twice."""
    before = len(house.answers())
    house.text("TH2", "m1")
    house.text("TH2", "m1")
    house.settled()
    house.ear.stop()
    house.start()
    house.text("TH2", "m1")
    house.settled()
    assert [one[1][:12] for one in house.answers()[before:]].count("You have TH2") == 1


def test_texts_that_came_while_the_service_was_down_are_not_lost(house: House) -> None:
    """The broker keeps the session: a take of a minute ago counts, "status" of hours ago is old."""
    house.ear.stop()
    before = len(house.answers())
    house.text("TH2", "old", ago=3 * HOUR)
    house.text("TH2", "new", ago=MINUTE)
    house.start()
    house.settled()
    assert takes(house.journal) == [(2, "yard")]
    said = [one[1][:9] for one in house.answers()[before:]]
    assert said == ["Your text", "You have "], "the old one is answered, and takes nothing"


def test_what_is_old_is_said_and_acts_on_nothing(
    house: House, caplog: pytest.LogCaptureFixture
) -> None:
    """It is recorded with its time, and its sender is told; who opted out hours ago stays so."""
    before = len(house.answers())
    house.text("TH2", "m1", ago=3 * HOUR)
    house.text("TH2", "m2", ago=-HOUR)
    house.text("STOP", "m3", ago=3 * HOUR)
    house.settled()
    assert takes(house.journal) == []
    late = (
        "Your text took 3 h to get here, so nothing was done. If you still mean it, text it again."
    )
    first, second, third = house.answers()[before:]
    assert first == ("yard", late, "")
    assert "min ahead, so nothing was done. Phone the others" in second[1]
    assert third == ("yard", "", "out")
    said = [one for one in caplog.messages if "is not acted on" in one]
    assert len(said) == 2
    assert "a text of yard was received at 2" in said[0]


def test_what_a_modem_received_late_acts_on_nothing_and_its_sender_is_told(house: House) -> None:
    """A take of hours ago must not stop the calling. Half an hour is let pass, and so is a centre
    whose clock is ahead or whose stamp can't be read."""
    house.ear.stop()
    replies, now = Replies(house.settings, MachineClock()), MachineClock().now()
    before = len(house.answers())
    assert replies.hand_in(YARD, "TH2", "m1", now - 3 * HOUR)
    assert replies.hand_in(YARD, "TH laid up", "m2", now - 3 * HOUR)
    assert takes(house.journal) == []
    said = [(person, body[:31]) for person, body, _ in house.answers()[before:]]
    assert said == [("yard", "Your text took 3 h to get here,")] * 2
    for place, sent in enumerate((now - 29 * MINUTE, now + 3 * HOUR, None)):
        assert replies.hand_in(YARD, "TH2", f"n{place}", sent)
    assert takes(house.journal) == [(2, "yard")]
    has_it = [body for _, body, _ in house.answers()[before + 2 :] if "TH2" in body]
    assert len(has_it) == 3, "the second and third read who has it: themselves"


def test_retained_strange_and_unreadable_texts_take_nothing(
    house: House, caplog: pytest.LogCaptureFixture
) -> None:
    """What a broker has retained is no news; strangers and nonsense go by, with a word."""
    house.ear.stop()
    house.text("TH2", "m1", retain=True)
    settings = replace(house.settings, link=replace(house.settings.link, protocol="3.1.1"))
    ear = Replies(settings, MachineClock()).topic_ear("ba9876543210")
    assert ear is not None
    ear.start()  # a new session: the broker gives it what it has retained
    house.ear = ear
    house.settled()
    published(house.broker.port, [(TOPIC, b"{}"), (TOPIC, b"\xff\x00")])
    house.text("TH2", "m2", sender=STRANGER)
    house.settled()
    assert takes(house.journal) == []
    assert sum("a text on the reply topic is refused" in one for one in caplog.messages) == 2


def test_what_the_disk_refuses_is_handed_in_again(
    house: House, monkeypatch: pytest.MonkeyPatch
) -> None:
    """A take is not acknowledged to the broker before it is kept."""
    house.ear.stop()
    monkeypatch.setattr(topic_ear, "AGAIN_SECONDS", 0.05)
    real, failures = replying.Replies._act_on, []

    def refuses_twice(self: Replies, outcome: object) -> None:
        if len(failures) < 2:
            failures.append(outcome)
            raise DiskTrouble("the disk is full")
        real(self, outcome)  # type: ignore[arg-type] # what it is given

    monkeypatch.setattr(replying.Replies, "_act_on", refuses_twice)
    house.start()
    before = len(house.answers())
    house.text("TH2", "m1")
    until(lambda: len(house.answers()) > before, what="it is answered")
    assert len(failures) == 2


def test_a_text_that_makes_us_fail_holds_up_none_of_those_after_it(
    house: House, monkeypatch: pytest.MonkeyPatch, caplog: pytest.LogCaptureFixture
) -> None:
    """It is tried three times and then passed over, with a word in the log."""
    house.ear.stop()
    monkeypatch.setattr(topic_ear, "AGAIN_SECONDS", 0.05)
    monkeypatch.setattr(replying, "_TRY_AGAIN_SECONDS", 0.02)
    real, failures = replying.Replies._act_on, []

    def fails_on_a_take(self: Replies, outcome: ReplyOutcome) -> None:
        if outcome.code == "TH2":
            failures.append(outcome)
            raise ValueError(outcome.code)
        real(self, outcome)

    monkeypatch.setattr(replying.Replies, "_act_on", fails_on_a_take)
    house.start()
    house.text("TH2", "m1")
    house.settled()
    assert len(failures) == 3
    assert sum("a text is passed over after 3 tries: ValueError" in m for m in caplog.messages) == 1


def test_a_payload_that_can_not_even_be_judged_does_not_end_the_listening(
    house: House, monkeypatch: pytest.MonkeyPatch, caplog: pytest.LogCaptureFixture
) -> None:
    """Whatever goes wrong with one message, the next is heard."""
    real = replying.received_text

    def fails_once(payload: bytes) -> PublishedText:
        if b"odd" in payload:
            raise ValueError("odd")
        return real(payload)

    monkeypatch.setattr(replying, "received_text", fails_once)
    house.text("odd", "m1")
    house.settled()
    assert house.ear.unheard() == ""
    assert any("a message is passed over: ValueError" in one for one in caplog.messages)


def test_a_modem_that_hears_nothing_is_heard_of(
    tmp_path: Path, monkeypatch: pytest.MonkeyPatch
) -> None:
    """The service's own texts are asked too: the sentence says which way is deaf."""
    monkeypatch.setattr(modem, "DEAF_AFTER_SECONDS", 0.0)
    file = write_config(tmp_path, 1883)
    file.write_text(
        f'{file.read_text()}\n[channels.stick]\nkind = "modem"\nport = "{tmp_path}/none"\n'
    )
    settings = load_settings(file)
    assert settings.depots["tern-hollow"].duty.replies_one_way
    assert not settings.depots["tern-hollow"].duty.replies_by_broker
    replies = Replies(settings, MachineClock())
    with Journal.open(settings.journal.path) as journal:
        texts = service._texts(settings, MachineClock(), journal, replies)
        try:
            until(lambda: "No such file" in replies.unheard(), what=replies.unheard())
            assert replies.unheard().startswith("replies by stick are not heard: ")
        finally:
            texts.stop()


def test_a_broker_that_is_away_is_heard_of(house: House) -> None:
    """Whoever asks whether replies are heard is told that they are not, and again that they are."""
    assert house.ear.unheard() == ""
    house.broker.stop()
    unheard = until(house.ear.unheard)
    assert unheard == "replies by text are not heard: the broker does not answer"
    house.broker.start()
    until(lambda: house.ear.unheard() == "", what="it is heard again")


def test_a_topic_that_the_broker_refuses_is_heard_of(tmp_path: Path) -> None:
    """A login without the right to subscribe: connected, and deaf. The alarm's sentence says so."""
    broker = Mosquitto(tmp_path / "mosquitto", {"plugin": str(plugin()), **_refusing(tmp_path)})
    file = write_config(tmp_path, broker.port)
    file.write_text(f'{file.read_text()}\n[reply_topic]\ntopic = "{TOPIC}"\n')
    replies = Replies(load_settings(file), MachineClock())
    assert replies.unheard() == "", "nobody has asked for the topic yet"
    ear = replies.topic_ear("0123456789ab")
    assert ear is not None
    assert "the broker does not answer" in replies.unheard()
    broker.start()
    ear.start()
    try:
        refused = "replies by text are not heard: the broker refuses the topic: Not authorized"
        until(lambda: replies.unheard() == refused, what=replies.unheard())
    finally:
        ear.stop()
        broker.kill()


def plugin() -> Path:
    """mosquitto's own plugin that may refuse a subscription; the test is skipped without it."""
    found = sorted(Path("/usr/lib").glob("*/mosquitto_dynamic_security.so"))
    if not found:
        pytest.skip("needs mosquitto's dynamic security plugin: apt-get install mosquitto")
    return found[0]


def _refusing(folder: Path) -> dict[str, str]:
    """Settings by which everybody is let in and nobody may subscribe."""
    rights = {
        "publishClientSend": True,
        "publishClientReceive": True,
        "subscribe": False,
        "unsubscribe": True,
    }
    file = folder / "rights.json"
    file.write_text(json.dumps({"defaultACLAccess": rights}))
    return {"plugin_opt_config_file": str(file)}


def test_the_topic_of_a_sensor_is_refused(tmp_path: Path) -> None:
    """A reading is no text."""
    file = write_config(tmp_path, 1883)
    own = load_settings(file)
    for topic in (own.sources[0].topic, own.link.state_topic):
        file.write_text(f'{file.read_text().partition("[reply_topic]")[0]}\n'
                        f'[reply_topic]\ntopic = "{topic}"\n')  # fmt: skip
        with pytest.raises(ConfigMistakes, match="a topic for received texts alone"):
            load_settings(file)
