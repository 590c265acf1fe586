"""Delivery receipts: a gateway says afterwards what became of a text, into a real journal."""

import json
from dataclasses import dataclass, field, replace
from pathlib import Path

import pytest
import requests

from brineward.clock import MachineClock
from brineward.config.channel_kinds import ReceiptSettings
from brineward.config.secret_table import Secret
from brineward.config.settings import HttpChannel, Person, ReplySettings
from brineward.http_server.server import HttpServer
from brineward.journal import Journal
from brineward.readings.entries import Delivery, Tick
from brineward.readings.outputs import Notice, Priority, Step
from brineward.texts.attempts import Accepted, Failed
from brineward.texts.follower import TextsFollower
from brineward.texts.gateway import HttpSender
from brineward.texts.handed_in import HttpAnswer
from brineward.texts.receipts import ReceiptDesk, receipt_name
from brineward.texts.reply_listener import reply_door
from brineward.texts.senders import OutgoingText
from gateways import Answer, Gateway, wait_until
from outboxes import NOW, high_text

FAR = 2**60
TEXT = OutgoingText(
    key="k7-1",
    depot="tern-hollow",
    number=12,
    kind="raised",
    priority=Priority.HIGH,
    name="Yard lead",
    address="+15550100141",
    notice=Notice(kind="raised", plain="TH12"),
    attempt=1,
)


@dataclass
class Noted:
    """What was noted of receipts."""

    receipts: list[tuple[str, bool]] = field(default_factory=list)

    def __call__(self, known_as: str, delivered: bool, words: str) -> bool:
        """Note it."""
        self.receipts.append((known_as, delivered))
        return known_as == "phone:k7-1"


@pytest.fixture
def desk(tmp_path: Path) -> tuple[ReceiptDesk, ReplySettings, Noted]:
    """A desk that wants a shared word."""
    (tmp_path / "word").write_text("open-sesame-47")
    replies = ReplySettings(secret=Secret(file=tmp_path / "word"), kind="bearer", listen_port=0)
    noted = Noted()
    made = ReceiptDesk(
        "phone", ReceiptSettings(), replies, MachineClock(), on_receipt=noted, on_trouble=print
    )
    return made, replies, noted


class NoReplies:
    """Nobody replies here."""

    def receive(self, headers: object, body: bytes) -> HttpAnswer:
        """Say so."""
        return HttpAnswer(status=500, sentence="a receipt is no reply")


def test_receipts_come_by_http_and_only_with_the_secret(
    desk: tuple[ReceiptDesk, ReplySettings, Noted],
) -> None:
    """Delivered and failed are noted, what is on its way is not, and a stranger is refused."""
    made, replies, noted = desk
    listener = HttpServer([reply_door(replies, NoReplies(), print, {"/receipts": made})])
    listener.start()
    try:
        url = f"http://127.0.0.1:{listener.port}/receipts"
        word = {"Authorization": "Bearer open-sesame-47"}
        said = [
            requests.post(url, json={"id": id_, "status": status}, headers=headers, timeout=5)
            for id_, status, headers in (
                ("k7-1", "delivered", {}),
                ("k7-1", "sent", word),
                ("k7-1", "DELIVERED", word),
                ("k7-9", "undelivered", word),
            )
        ]
        assert [one.status_code for one in said] == [401, 200, 200, 200]
        assert [one.text.strip() for one in said[1:]] == ["on its way", "noted", "no such text"]
        bad = requests.post(url, json={"status": "delivered"}, headers=word, timeout=5)
        assert bad.status_code == 400
    finally:
        listener.stop()
    assert noted.receipts == [("phone:k7-1", True), ("phone:k7-9", False)]


@pytest.mark.parametrize(
    ("gateway_id", "body", "known_as"),
    [
        (None, b"{}", "phone:k7-1"),
        ("message.id", b'{"message": {"id": "g-47"}}', "phone:g-47"),
        ("id", b'{"id": "g \\ud83d"}', "phone:g \\ud83d"),
    ],
)
def test_what_a_gateway_takes_is_known_by_our_id_or_by_its_own(
    gateway_id: str | None, body: bytes, known_as: str
) -> None:
    """A receipt finds its text by the one that the config names."""
    with Gateway(Answer(body=body)) as gateway:
        channel = HttpChannel(
            id="phone",
            url=gateway.url,
            fields={"text": "{body}"},
            receipts=ReceiptSettings(gateway_id=gateway_id),
        )
        outcome = HttpSender(channel, MachineClock()).send(TEXT)
    assert isinstance(outcome, Accepted)
    assert outcome.known_as == known_as
    assert outcome.receipt_within_seconds == 90.0


def test_an_answer_without_the_id_that_receipts_name_is_a_failure() -> None:
    """Its receipt would find no text."""
    with Gateway(Answer(body=b"OK")) as gateway:
        channel = HttpChannel(
            id="phone",
            url=gateway.url,
            fields={"text": "{body}"},
            receipts=ReceiptSettings(gateway_id="id"),
        )
        outcome = HttpSender(channel, MachineClock()).send(TEXT)
    assert isinstance(outcome, Failed)
    assert "no id" in outcome.why


def test_receipts_settle_texts_in_the_journal(tmp_path: Path) -> None:
    """Delivered settles and is an entry; failed makes the next way due; twice changes nothing."""
    texts = [high_text(f"t{number}", "TH", number=number) for number in (1, 2)]
    with Journal.open(tmp_path / "journal") as journal:
        journal.commit([Step(Tick(time=NOW), tuple(texts))])
        outbox = journal.outbox
        for text in texts:
            outbox.record_attempt(text.id, NOW)
            outbox.record_sent(text.id, NOW, NOW + 90_000, f"phone:{text.id}", "taken")
        assert outbox.texts_open(NOW + 89_999) == []
        for _ in range(2):
            assert outbox.record_receipt("phone:t1", NOW + 5, delivered=True, words="delivered")
            assert outbox.record_receipt("phone:t2", NOW + 6, delivered=False, words="not")
        assert not outbox.record_receipt("phone:t3", NOW, delivered=True, words="")
        (left,) = outbox.texts_open(NOW + 6)
        assert (left.id, left.known_as, left.why) == ("t2", "phone:t2", "not")
        outbox.record_way("t2", NOW + 7, NOW + 7, 1, "not")
        (left,) = outbox.texts_open(NOW + 7)
        assert (left.way, left.known_as) == (1, "")
        posted = [entry for _, entry in journal.inbox.waiting()]
        assert [(one.text, one.outcome) for one in posted if isinstance(one, Delivery)] == [
            ("t1", "accepted")
        ]


def test_an_id_with_half_a_character_holds_up_no_text(tmp_path: Path) -> None:
    """A gateway whose ids are cut in the middle of a sign: its text awaits its receipt, which finds
    it, and the next text goes out."""
    path = tmp_path / "journal"
    with Journal.open(path) as journal, Gateway() as gateway:
        gateway.usual = Answer(body=b'{"id": "g\\ud83d"}')
        channel = HttpChannel(
            id="phone",
            url=gateway.url,
            fields={"text": "{body}"},
            receipts=ReceiptSettings(gateway_id="id"),
        )
        journal.commit(
            [
                Step(
                    Tick(time=NOW),
                    (high_text("t1", "TH", number=1), high_text("t2", "TH", number=2)),
                )
            ]
        )
        troubles: list[str] = []
        follower = TextsFollower(
            lambda: Journal.open(path).outbox,
            {"phone": channel},
            {"yard": Person(id="yard", name="Yard lead", channel="phone", address="+1 555 0141")},
            MachineClock(),
            troubles.append,
            key_of=journal.outbox.key_of(),
        )
        follower.start()
        try:
            asked = gateway.wait_for(2)
            wait_until(lambda: all(one.known_as for one in journal.outbox.texts_open(FAR)))
        finally:
            follower.stop()
        assert len(asked) == 2
        assert troubles == []
        body = json.loads('{"id": "g\\ud83d"}')
        known_as = receipt_name("phone", body["id"])
        assert journal.outbox.record_receipt(known_as, NOW + 9, delivered=True, words="delivered")
        assert [outcome for _, outcome in settled(journal)] == ["accepted"]


def settled(journal: Journal) -> list[tuple[str, str]]:
    """Which text came to what, as the service hears of it."""
    posted = [entry for _, entry in journal.inbox.waiting()]
    return [(one.text, one.outcome) for one in posted if isinstance(one, Delivery)]


def one_text(journal: Journal) -> None:
    """A text that a gateway took, and whose receipt did not come in time."""
    journal.commit([Step(Tick(time=NOW), (high_text("t1", "TH", number=1),))])
    journal.outbox.record_sent("t1", NOW, NOW + 90_000, "phone:t1", "taken")


@pytest.mark.parametrize("passed", ["phone:t1", "second:t1"])
def test_a_receipt_by_a_way_that_was_given_up_settles_the_text(tmp_path: Path, passed: str) -> None:
    """What a slow gateway delivered after all is not sent a third time, whichever way it was."""
    with Journal.open(tmp_path / "journal") as journal:
        one_text(journal)
        outbox = journal.outbox
        outbox.record_way("t1", NOW + 90_000, NOW + 90_000, 1, "no receipt")
        outbox.record_sent("t1", NOW + 90_001, NOW + 180_000, "second:t1", "taken")
        outbox.record_way("t1", NOW + 180_000, NOW + 180_000, 2, "no receipt")
        (left,) = outbox.texts_open(NOW + 180_000)
        assert left.known_as == "", "nothing is awaited by the way that is next"
        assert outbox.record_receipt(passed, NOW + 180_001, delivered=True, words="delivered")
        assert outbox.texts_open(NOW + 999_999) == []
        assert settled(journal) == [("t1", "accepted")]


def test_that_a_way_failed_which_was_given_up_hurries_no_other(tmp_path: Path) -> None:
    """The second way's receipt is awaited as long as before."""
    with Journal.open(tmp_path / "journal") as journal:
        one_text(journal)
        outbox = journal.outbox
        outbox.record_way("t1", NOW + 90_000, NOW + 90_000, 1, "no receipt")
        outbox.record_sent("t1", NOW + 90_001, NOW + 180_000, "second:t1", "taken")
        assert outbox.record_receipt("phone:t1", NOW + 90_002, delivered=False, words="not")
        assert outbox.texts_open(NOW + 90_003) == []
        (left,) = outbox.texts_open(NOW + 180_000)
        assert (left.known_as, left.why) == ("second:t1", "")


def test_a_text_that_was_given_up_and_then_delivered_has_reached_its_person(tmp_path: Path) -> None:
    """The service hears it, so that nobody goes on believing that this person gets no texts; twice
    changes nothing."""
    with Journal.open(tmp_path / "journal") as journal:
        one_text(journal)
        journal.outbox.record_dead("t1", NOW + 90_000, "no receipt came in time")
        for at in (NOW + 95_000, NOW + 96_000):
            known = journal.outbox.record_receipt("phone:t1", at, delivered=True, words="delivered")
            assert known
        assert settled(journal) == [("t1", "dead"), ("t1", "accepted")]


def test_the_journal_keeps_the_secret_of_no_channel(tmp_path: Path) -> None:
    """What a gateway repeats of our secret is in no record."""
    secret = "s3cr3t-w0rd-47"
    (tmp_path / "secret").write_text(secret)
    with Gateway(Answer(body=json.dumps({"id": "g1", "you said": secret}).encode())) as gateway:
        channel = HttpChannel(
            id="phone",
            url=gateway.url,
            fields={"text": "{body}", "key": "{secret:key}"},
            secrets={"key": Secret(file=tmp_path / "secret")},
            receipts=ReceiptSettings(gateway_id="id"),
        )
        outcome = HttpSender(channel, MachineClock()).send(replace(TEXT, attempt=2))
    assert isinstance(outcome, Accepted)
    assert secret not in repr(outcome)
