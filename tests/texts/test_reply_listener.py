"""Replies from a gateway over real HTTP, to an act of a person."""

import json
import socket
import threading
from collections.abc import Iterator
from datetime import UTC, datetime

import pytest
import requests
from standardwebhooks import Webhook

from brineward.clock import MachineClock
from brineward.config.settings import Person, ReplySettings, Secret
from brineward.readings.entries import Act
from brineward.texts import reply_listener
from brineward.texts.reply_judge import ANSWERS_AN_HOUR, ReplyJudge, ReplyOutcome
from brineward.texts.reply_listener import LARGEST_BODY, CannotListen, ReplyListener
from brineward.wording.gsm import septets
from gateways import wait_until

SECRET = "whsec_MfKQ9r8GKYqrTwjUPD8ILPZIo2LaLaSw"
WORD = "salt and water"
PEOPLE = {
    "yard": Person(id="yard", name="Yard lead", channel="phone", address="+1 555 0141"),
    "long": Person(id="long", name="Grünwäldchen " * 30, channel="phone", address="+1 555 0142"),
}
SHORTS = {"TH": "tern-hollow", "KR": "kettle-ridge"}
NOT_STANDING = "it is not standing, so there is nothing to take"


class Dispatcher:
    """A listener, and what came of what it heard."""

    def __init__(self, **changes: object) -> None:
        usual: dict[str, object] = {
            "listen_port": 0,
            "secret": Secret(environment="BRINEWARD_TEST_REPLIES"),
        }
        settings = ReplySettings(**(usual | changes))
        self.acts: list[Act] = []
        self.outcomes: list[ReplyOutcome] = []
        self.troubles: list[str] = []
        self.fail_next = False
        desk = ReplyJudge(
            settings,
            PEOPLE,
            SHORTS,
            MachineClock(),
            on_act=self._on_act,
            on_outcome=self.outcomes.append,
            on_trouble=self.troubles.append,
        )
        self.listener = ReplyListener(settings, desk, self.troubles.append)
        self.path = settings.path

    def _on_act(self, act: Act) -> str | None:
        if self.fail_next:
            self.fail_next = False
            raise LookupError("hush")
        self.acts.append(act)
        return NOT_STANDING if act.fields["number"] == 99 else None

    @property
    def url(self) -> str:
        """Where messages are handed in."""
        return f"http://127.0.0.1:{self.listener.port}{self.path}"

    def hand_in(self, body: bytes, headers: dict[str, str] | None = None) -> requests.Response:
        """As a gateway does."""
        with requests.Session() as session:
            session.trust_env = False
            return session.post(self.url, data=body, headers=headers, timeout=10)

    def text(self, text: str, sender: str = "15550141", id_: str = "m1") -> requests.Response:
        """A signed message in JSON."""
        body = json.dumps({"from": sender, "text": text})
        moment = datetime.now(tz=UTC)
        return self.hand_in(
            body.encode(),
            {
                "Content-Type": "application/json",
                "webhook-id": id_,
                "webhook-timestamp": str(int(moment.timestamp())),
                "webhook-signature": Webhook(SECRET).sign(id_, moment, body),
            },
        )


@pytest.fixture(autouse=True)
def _stops_quickly(monkeypatch: pytest.MonkeyPatch) -> None:
    monkeypatch.setattr(reply_listener, "_POLL_SECONDS", 0.01)


@pytest.fixture
def desks() -> Iterator[list[Dispatcher]]:
    """Listeners to stop at the end."""
    started: list[Dispatcher] = []
    yield started
    for desk in started:
        desk.listener.stop()


@pytest.fixture
def desk(desks: list[Dispatcher], monkeypatch: pytest.MonkeyPatch) -> Dispatcher:
    """A listener for signed messages."""
    monkeypatch.setenv("BRINEWARD_TEST_REPLIES", SECRET)
    return started(desks)


def started(desks: list[Dispatcher], **changes: object) -> Dispatcher:
    """A listener at work."""
    desk = Dispatcher(**changes)
    desk.listener.start()
    desks.append(desk)
    return desk


def test_a_signed_reply_becomes_a_take_and_an_answer(desk: Dispatcher) -> None:
    """The act says which alarm and who; the phone is told so."""
    answer = desk.text("th 12 ok")
    assert (answer.status_code, answer.text) == (200, "taken\n")
    act = desk.acts[0]
    assert (act.depot, act.act) == ("tern-hollow", "take")
    assert dict(act.fields) == {"number": 12, "by": "yard"}
    assert act.time == act.received
    assert desk.outcomes == [
        ReplyOutcome(kind="taken", person="yard", answer="TH12 taken by Yard lead.", code="TH12")
    ]


def test_what_cannot_be_taken_is_said_to_the_phone(desk: Dispatcher) -> None:
    """Nobody believes to have an alarm that is not theirs."""
    desk.text("TH99")
    assert desk.outcomes[0].kind == "not taken"
    assert desk.outcomes[0].answer == f"TH99: {NOT_STANDING}"


def test_a_copy_of_a_message_takes_nothing_twice(desk: Dispatcher) -> None:
    """A gateway that hands in again is answered well, and nothing happens again."""
    desk.text("TH12", id_="m7")
    again = desk.text("TH12", id_="m7")
    assert (again.status_code, again.text) == (200, "seen before\n")
    assert len(desk.acts) == len(desk.outcomes) == 1


def test_a_message_that_failed_on_our_side_can_be_handed_in_again(desk: Dispatcher) -> None:
    """The gateway gets no answer, we report the error without its words, and the copy counts."""
    desk.fail_next = True
    with pytest.raises(requests.ConnectionError):
        desk.text("TH12", id_="m8")
    assert desk.text("TH12", id_="m8").text == "taken\n"
    assert len(desk.acts) == 1
    assert "LookupError at " in desk.troubles[0]
    assert "hush" not in desk.troubles[0]


def test_a_forged_message_is_refused(desk: Dispatcher) -> None:
    """Without a fitting signature nothing is read."""
    answer = desk.hand_in(b'{"from": "15550141", "text": "TH12"}', {"webhook-id": "m1"})
    assert answer.status_code == 401
    assert desk.acts == []
    assert desk.outcomes == []


def test_a_stranger_takes_nothing_and_gets_no_answer(desk: Dispatcher) -> None:
    """Texts go to people of the config only, whoever writes."""
    assert desk.text("TH12", sender="+1 555 0199").text == "stranger\n"
    assert desk.acts == []
    assert desk.outcomes == [ReplyOutcome(kind="stranger", person=None, answer="")]


def test_carrier_words_are_noted_and_not_answered(desk: Dispatcher) -> None:
    """STOP says that this person is out of reach; an answer would not arrive."""
    desk.text("STOP", id_="a")
    desk.text("help", id_="b")
    assert [(each.kind, each.answer) for each in desk.outcomes] == [
        ("opted out", ""),
        ("carrier word", ""),
    ]
    assert desk.acts == []


def test_two_machines_do_not_talk_all_night(desk: Dispatcher) -> None:
    """An automatic reply is told "not understood" a few times, then left alone; takes count."""
    for number in range(ANSWERS_AN_HOUR + 2):
        desk.text("I am out of office", id_=f"m{number}")
    answered = [bool(each.answer) for each in desk.outcomes]
    assert answered == [True] * ANSWERS_AN_HOUR + [False, False]
    assert desk.text("TH12", id_="x").text == "taken\n"
    assert desk.outcomes[-1].answer


def test_every_answer_is_one_segment(desk: Dispatcher) -> None:
    """Even to a person with an endless name, and the code is in it."""
    desk.text("TH12", sender="+1 555 0142")
    assert septets(desk.outcomes[0].answer) <= 160
    assert desk.outcomes[0].answer.startswith("TH12 taken by Grünwäldchen")


def test_a_gateway_with_a_shared_word_form_fields_and_names_of_its_own(
    desks: list[Dispatcher], monkeypatch: pytest.MonkeyPatch
) -> None:
    """Field names come from the config, a form will do, and its own id is kept against copies."""
    monkeypatch.setenv("BRINEWARD_TEST_REPLIES", WORD)
    desk = started(
        desks, kind="bearer", sender_key="From", text_key="Body", id_key="Sid", path="/in"
    )
    headers = {
        "Authorization": f"Bearer {WORD}",
        "Content-Type": "application/x-www-form-urlencoded; charset=utf-8",
    }
    body = b"From=%2B15550141&Body=take+kr3&Sid=s1"
    assert desk.hand_in(body, headers).text == "taken\n"
    assert desk.hand_in(body, headers).text == "seen before\n"
    assert desk.hand_in(body, headers | {"Authorization": "Bearer wrong"}).status_code == 401
    assert [act.depot for act in desk.acts] == ["kettle-ridge"]


def test_nested_json_fields(desks: list[Dispatcher], monkeypatch: pytest.MonkeyPatch) -> None:
    """Dots step into nested objects, and a sender may be a number."""
    monkeypatch.setenv("BRINEWARD_TEST_REPLIES", WORD)
    desk = started(desks, kind="bearer", sender_key="message.from", text_key="message.text")
    headers = {"Authorization": f"Bearer {WORD}"}
    body = json.dumps({"message": {"from": 15550141, "text": "TH12"}}).encode()
    assert desk.hand_in(body, headers).text == "taken\n"


@pytest.mark.parametrize(
    "body",
    [
        b"", b"{", b"[]", b"1", b"\xff", b"[" * 10_000, b'{"from": "1"}', b'{"text": "TH12"}',
        b'{"from": null, "text": "TH12"}', b'{"from": true, "text": "TH12"}',
        b'{"from": {"a": 1}, "text": "TH12"}', b'{"from": 1e400, "text": "TH12"}',
        b'{"from": ' + b"9" * 3000 + b', "text": "TH12"}',
    ],
)  # fmt: skip
def test_a_body_that_makes_no_sense_is_refused(
    body: bytes, desks: list[Dispatcher], monkeypatch: pytest.MonkeyPatch
) -> None:
    """The gateway is told that it is wrong; the listener goes on."""
    monkeypatch.setenv("BRINEWARD_TEST_REPLIES", WORD)
    desk = started(desks, kind="bearer")
    assert desk.hand_in(body, {"Authorization": f"Bearer {WORD}"}).status_code == 400
    assert desk.acts == []
    assert desk.troubles == []


def test_a_form_of_ten_thousand_fields_is_refused(
    desks: list[Dispatcher], monkeypatch: pytest.MonkeyPatch
) -> None:
    """A form is bounded in fields as well as in bytes."""
    monkeypatch.setenv("BRINEWARD_TEST_REPLIES", WORD)
    desk = started(desks, kind="bearer")
    headers = {
        "Authorization": f"Bearer {WORD}",
        "Content-Type": "application/x-www-form-urlencoded",
    }
    assert desk.hand_in(b"from=1&text=2" + b"&a" * 5000, headers).status_code == 400


def test_a_missing_secret_refuses_everybody_and_is_reported(
    desk: Dispatcher, monkeypatch: pytest.MonkeyPatch
) -> None:
    """Without a secret nobody is let in; the gateway is told to come again."""
    monkeypatch.delenv("BRINEWARD_TEST_REPLIES")
    assert desk.text("TH12").status_code == 503
    monkeypatch.setenv("BRINEWARD_TEST_REPLIES", "whsec_not Base64!")
    assert desk.text("TH12").status_code == 503
    monkeypatch.setenv("BRINEWARD_TEST_REPLIES", SECRET)
    assert desk.text("TH12").status_code == 200
    assert "BRINEWARD_TEST_REPLIES is not set" in desk.troubles[0]
    assert "not Base64" in desk.troubles[1]


def test_wrong_places_sizes_and_methods(desk: Dispatcher) -> None:
    """Each is refused for what it is, before anything is read."""
    with requests.Session() as session:
        session.trust_env = False
        elsewhere = session.post(desk.url + "x", data=b"", timeout=10)
        read = session.get(desk.url, timeout=10)
        large = session.post(desk.url, data=b" " * (LARGEST_BODY + 1), timeout=10)
        unsized = session.post(desk.url, data=iter([b"a"]), timeout=10)
    assert [each.status_code for each in (elsewhere, read, large, unsized)] == [404, 501, 413, 411]
    assert "Python" not in read.headers["Server"]


def raw(desk: Dispatcher, sent: bytes) -> bytes:
    """What the listener answers to these bytes, until it hangs up."""
    with socket.create_connection(("127.0.0.1", desk.listener.port), timeout=10) as call:
        call.sendall(sent)
        found = b""
        while piece := call.recv(4096):
            found += piece
    return found


def dribbled(desk: Dispatcher) -> bytes:
    """What the listener answers to a header that grows for ever, until it hangs up."""
    with socket.create_connection(("127.0.0.1", desk.listener.port), timeout=0.05) as call:
        call.sendall(b"POST /replies HTTP/1.1\r\nX-Slow: ")
        while True:
            try:
                call.sendall(b"d")
                return call.recv(4096)
            except TimeoutError:
                continue
            except ConnectionError:
                return b""


def test_callers_that_dribble_are_hung_up_on_and_others_are_served(
    desks: list[Dispatcher], monkeypatch: pytest.MonkeyPatch
) -> None:
    """A call that is never finished ends in time, and meanwhile a good one gets through."""
    monkeypatch.setenv("BRINEWARD_TEST_REPLIES", SECRET)
    monkeypatch.setattr(reply_listener, "_SECONDS_A_CALL", 0.5)
    desk = started(desks)
    # The header that never ends: a drop well within any wait for the next byte.
    dribbler = threading.Thread(target=lambda: found.append(dribbled(desk)))
    unfinished = [
        b"POST /replies HTTP/1.1\r\nContent-Le",
        b"POST /replies HTTP/1.1\r\nContent-Length: 100\r\n\r\nhalf",
        b"",
    ]
    found: list[bytes] = []
    callers = [
        threading.Thread(target=lambda sent=sent: found.append(raw(desk, sent)))
        for sent in unfinished
    ]
    callers.append(dribbler)
    for caller in callers:
        caller.start()
    assert desk.text("TH12").text == "taken\n"
    for caller in callers:
        caller.join(10)
    assert len(found) == 4
    assert not any(b"200" in each for each in found)
    assert desk.troubles == []


def test_too_many_calls_at_once_are_hung_up_on_not_queued(
    desks: list[Dispatcher], monkeypatch: pytest.MonkeyPatch
) -> None:
    """Idle connections can't use up the machine; once they are gone the next call is served."""
    monkeypatch.setenv("BRINEWARD_TEST_REPLIES", SECRET)
    monkeypatch.setattr(reply_listener, "_CALLS_AT_ONCE", 2)
    desk = started(desks)
    address = ("127.0.0.1", desk.listener.port)
    idle = [socket.create_connection(address, timeout=10) for _ in range(2)]
    with socket.create_connection(address, timeout=10) as third:
        assert third.recv(10) == b""
    for call in idle:
        call.close()
    wait_until(lambda: taken(desk))


def taken(desk: Dispatcher) -> bool:
    """Is a reply taken just now? Not while the listener hangs up on everybody."""
    try:
        return desk.text("TH12").text == "taken\n"
    except requests.ConnectionError:
        return False


@pytest.mark.parametrize(
    "sent",
    [b"\x00" * 100 + b"\r\n\r\n", b"GET\r\n\r\n", b"POST /replies SALT/9\r\n\r\n", b"\r\n" * 5],
)
def test_garbage_is_survived(sent: bytes, desk: Dispatcher) -> None:
    """What is no HTTP is refused or hung up on, and the next reply is taken."""
    assert b" 200 " not in raw(desk, sent + b"x: y\r\n" * 200 + b"\r\n")
    assert desk.text("TH12").text == "taken\n"
    assert desk.troubles == []


def test_an_address_in_use_is_said(desk: Dispatcher) -> None:
    """The operator reads which address, and the service does not start deaf."""
    second = Dispatcher(listen_port=desk.listener.port)
    with pytest.raises(CannotListen, match=r"127\.0\.0\.1:\d+: Address already in use"):
        second.listener.start()
    second.listener.stop()
