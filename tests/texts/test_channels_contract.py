"""The contract that every channel keeps, each against a real other side on loopback."""

import ssl
import time
from collections.abc import Callable, Iterator
from contextlib import ExitStack, contextmanager
from dataclasses import dataclass, replace
from email import message_from_bytes, policy
from pathlib import Path
from typing import Any, get_args

import pytest
import trustme
from aiosmtpd.controller import Controller
from aiosmtpd.smtp import AuthResult, Envelope, LoginPassword

from brineward.clock import MachineClock
from brineward.config.channel_kinds import (
    MailChannel,
    ModemChannel,
    PushChannel,
    SirenChannel,
)
from brineward.config.load import _CHANNELS
from brineward.config.secret_table import Secret
from brineward.config.settings import (
    Channel,
    ConsoleChannel,
    FileChannel,
    HttpChannel,
    LinkSettings,
)
from brineward.link.embedded import free_port
from brineward.link.state_topic import KeptTopic
from brineward.readings.outputs import Notice, Priority
from brineward.texts.attempts import Accepted, Failed, NeverAccepted, Outcome
from brineward.texts.follower import Outside, sender_of
from brineward.texts.senders import OutgoingText, Sender
from brokers import Listener, Mosquitto, until
from gateways import Answer, Gateway
from modems import FakeModem

SECRET = "s3cr3t-w0rd/47"
NOTICE = Notice(
    kind="raised",
    code="TH12",
    lead="TH12",
    place="Tern Hollow",
    headline="main tank near overflow",
    how_bad="7 ft 5 in, at the limit",
    time_left="full in 11 min",
    when="since 20:13",
    response="Stop any fill pump (PANEL), THEN shut supply. Stay off tank.",
    take="Reply TH12 to take it.",
)
TEXT = OutgoingText(
    key="k7-1",
    depot="tern-hollow",
    number=12,
    kind="raised",
    priority=Priority.HIGH,
    name="Yard lead",
    address="+15550100141",
    notice=NOTICE,
    attempt=1,
)


@dataclass
class Place:
    """A channel, its other side, and how that is broken."""

    sender: Sender
    text: OutgoingText
    arrived: Callable[[], str]
    """All that has arrived there, in words."""
    break_off: Callable[[], object] | None
    """From now on the other side takes nothing; None where it can't be broken."""


class Mailbox:
    """Keeps mail; refuses to order."""

    def __init__(self) -> None:
        self.mails: list[bytes] = []
        self.answer = ""

    async def handle_RCPT(  # noqa: N802 - as its library has it
        self, _server: Any, _session: Any, envelope: Envelope, address: str, _options: Any
    ) -> str:
        """Refuse, where the test says so."""
        if self.answer:
            return self.answer
        envelope.rcpt_tos.append(address)
        return "250 OK"

    async def handle_DATA(  # noqa: N802 - as its library has it
        self, _server: Any, _session: Any, envelope: Envelope
    ) -> str:
        """Keep it."""
        assert isinstance(envelope.content, bytes)
        self.mails.append(envelope.content)
        return "250 OK"


@contextmanager
def mail_server(folder: Path) -> Iterator[tuple[MailChannel, Mailbox, Controller]]:
    """A mail server that wants TLS and a login."""
    authority = trustme.CA()
    authority.cert_pem.write_to_path(str(folder / "ca.pem"))
    context = ssl.create_default_context(ssl.Purpose.CLIENT_AUTH)
    authority.issue_cert("127.0.0.1").configure_cert(context)
    box = Mailbox()

    def login(
        _server: Any, _session: Any, _envelope: Any, _mechanism: Any, data: Any
    ) -> AuthResult:
        right = isinstance(data, LoginPassword) and data.password == SECRET.encode()
        return AuthResult(success=right, handled=False)

    controller = Controller(
        box,
        hostname="127.0.0.1",
        port=free_port(),
        tls_context=context,
        require_starttls=True,
        authenticator=login,
        auth_required=True,
    )
    controller.start()
    (folder / "secret").write_text(SECRET)
    channel = MailChannel(
        id="mail",
        host="127.0.0.1",
        port=controller.port,
        sender="brineward@wexmoor.example",
        username="brineward",
        password=Secret(file=folder / "secret"),
        ca_file=folder / "ca.pem",
        answer_timeout_seconds=3.0,
    )
    try:
        yield channel, box, controller
    finally:
        controller.stop(no_assert=True)


def http(folder: Path, stack: ExitStack) -> Place:
    """A text gateway over HTTP."""
    gateway = stack.enter_context(Gateway())
    (folder / "secret").write_text(SECRET)
    channel = HttpChannel(
        id="phone",
        url=gateway.url,
        fields={"to": "{address}", "text": "{body}"},
        headers={"Authorization": "Bearer {secret:token}"},
        secrets={"token": Secret(file=folder / "secret")},
    )
    return Place(
        made(channel),
        TEXT,
        lambda: " ".join(one.body.decode() for one in gateway.asked),
        lambda: setattr(gateway, "usual", Answer(status=503, body=SECRET.encode())),
    )


def modem(_folder: Path, stack: ExitStack) -> Place:
    """A modem on a pseudo-terminal."""
    device = stack.enter_context(FakeModem())
    channel = ModemChannel(id="modem", port=device.port, mode="text", answer_timeout_seconds=3.0)
    return Place(
        made(channel),
        TEXT,
        lambda: " ".join(
            bytes.fromhex(part.strip('"')).decode("utf-16-be")
            for one in device.sent
            for part in one
        ),
        lambda: setattr(device.faults, "mute", True),
    )


def mail(folder: Path, stack: ExitStack) -> Place:
    """A mail server with TLS and a login."""
    channel, box, _ = stack.enter_context(mail_server(folder))
    return Place(
        made(channel),
        replace(TEXT, address="yard@wexmoor.example"),
        lambda: b" ".join(box.mails).decode(),
        lambda: setattr(box, "answer", f"451 not now {SECRET}"),
    )


def push(folder: Path, stack: ExitStack) -> Place:
    """A service that Apprise knows: a JSON object by HTTP, with a secret in its URL."""
    gateway = stack.enter_context(Gateway())
    url = gateway.url.replace("http://", f"json://brineward:{SECRET.replace('/', '%2F')}@")
    (folder / "secret").write_text(f"{url}/{{address}}")
    channel = PushChannel(id="push", url=Secret(file=folder / "secret"), answer_timeout_seconds=9.0)
    return Place(
        made(channel),
        TEXT,
        lambda: " ".join(f"{one.path} {one.query} {one.body.decode()}" for one in gateway.asked),
        lambda: setattr(gateway, "usual", Answer(status=500)),
    )


def siren(folder: Path, stack: ExitStack) -> Place:
    """A siren that hears a real broker."""
    broker = Mosquitto(folder)
    broker.start()
    stack.callback(broker.stop)
    listener = Listener(broker.port, ["yard/siren"])
    stack.callback(listener.close)
    channel = SirenChannel(id="siren", topic="yard/siren", answer_timeout_seconds=2.0)
    link = LinkSettings(host="127.0.0.1", port=broker.port)
    outside = Outside(topic=lambda one: KeptTopic(link, one.topic, gone=one.off.encode()))
    sender = sender_of(channel, MachineClock(), outside)
    stack.callback(sender.stop)  # type: ignore[attr-defined]  # a siren has it
    return Place(
        sender,
        TEXT,
        lambda: " ".join(payload.decode() for _, payload, _ in listener.heard),
        broker.stop,
    )


def file(folder: Path, _stack: ExitStack) -> Place:
    """A file."""
    path = folder / "texts" / "texts.jsonl"
    path.parent.mkdir()
    return Place(
        made(FileChannel(id="file", path=path)),
        TEXT,
        lambda: path.read_text() if path.exists() else "",
        lambda: (path.unlink(missing_ok=True), path.parent.rmdir()),
    )


def console(_folder: Path, _stack: ExitStack) -> Place:
    """The console; what it shows is in a test of its own."""
    return Place(made(ConsoleChannel(id="console")), TEXT, lambda: "+15550100141", None)


def made(channel: Channel) -> Sender:
    """Its sender, as the service makes it."""
    return sender_of(channel, MachineClock())


PLACES: list[Callable[[Path, ExitStack], Place]] = [
    http,
    modem,
    mail,
    push,
    siren,
    file,
    console,
]
LONGEST_SECONDS = 12.0


def test_every_kind_of_channel_is_held_to_it() -> None:
    """A kind that the config knows and that is missing here has promised nothing."""
    assert {one.__name__ for one in PLACES} == set(_CHANNELS)
    assert set(get_args(Channel)) == set(_CHANNELS.values())


@pytest.fixture(params=PLACES, ids=lambda place: place.__name__)
def place(request: pytest.FixtureRequest, tmp_path: Path) -> Iterator[Place]:
    """Each channel in turn."""
    with ExitStack() as stack:
        yield request.param(tmp_path, stack)


def logged(caplog: pytest.LogCaptureFixture) -> str:
    """What was logged at any level, but for the mail server's own log."""
    return "\n".join(one.getMessage() for one in caplog.records if one.name != "mail.log")


def timed(place: Place, text: OutgoingText) -> Outcome:
    """Sent, within the longest time."""
    began = time.monotonic()
    outcome = place.sender.send(text)
    assert time.monotonic() - began < LONGEST_SECONDS
    return outcome


def test_a_text_arrives_and_says_so(
    place: Place, request: pytest.FixtureRequest, caplog: pytest.LogCaptureFixture
) -> None:
    """Accepted means that the other side has it; the secret is in no receipt and no log."""
    caplog.set_level("DEBUG")
    outcome = timed(place, place.text)
    assert isinstance(outcome, Accepted), outcome
    if "siren" in request.node.name:
        until(lambda: place.arrived() == "on", what="the siren on")
    else:
        arrived = until(place.arrived)
        assert place.text.address.lstrip("+") in arrived
    assert SECRET not in repr(outcome)
    assert SECRET not in logged(caplog)


@pytest.mark.parametrize(
    "place",
    [one for one in PLACES if one is not console],  # which can't be broken from outside
    indirect=True,
    ids=lambda place: place.__name__,
)
def test_one_that_takes_nothing_is_a_failure_in_time_and_the_next_text_is_tried(
    place: Place, caplog: pytest.LogCaptureFixture
) -> None:
    """Nothing the other side does raises; what it says of our secret is not passed on."""
    assert place.break_off is not None
    caplog.set_level("DEBUG")
    assert isinstance(timed(place, place.text), Accepted)
    place.break_off()
    outcomes = [timed(place, place.text) for _ in range(2)]
    assert all(isinstance(one, Failed) for one in outcomes), outcomes
    assert all(one.why.startswith("channel ") for one in outcomes if isinstance(one, Failed))
    assert SECRET not in repr(outcomes)
    assert SECRET not in logged(caplog)


def test_a_hostile_notice_harms_no_channel(place: Place) -> None:
    """Line ends, controls, other alphabets and great length end no header and no command."""
    hostile = "TH1\r\nBcc: all@example\r\n.\r\nDATA\x1a\x1b{secret:token} \U0001f9c2" + "x" * 5000
    text = replace(place.text, notice=Notice(kind="raised", plain=hostile), name=hostile)
    outcome = timed(place, text)
    assert isinstance(outcome, Accepted), outcome
    assert SECRET not in place.arrived()


def test_mail_says_everything_and_is_one_mail_however_often_it_is_sent(tmp_path: Path) -> None:
    """Nothing of a notice is cut, the Message-ID is the text's, and no holiday answers it."""
    with mail_server(tmp_path) as (channel, box, _):
        text = replace(TEXT, address="yard@wexmoor.example")
        for attempt in (1, 2):
            assert isinstance(made(channel).send(replace(text, attempt=attempt)), Accepted)
    first, second = (message_from_bytes(one, policy=policy.default) for one in box.mails)
    assert first["Message-ID"] == second["Message-ID"] == "<k7-1@wexmoor.example>"
    assert first["Subject"] == "TH12 Tern Hollow: main tank near overflow"
    assert first["Auto-Submitted"] == "auto-generated"
    body = first.get_content()
    assert all(
        part.casefold() in body.casefold()
        for part in (NOTICE.how_bad, NOTICE.time_left, NOTICE.when, NOTICE.response, NOTICE.take)
    )


def test_mail_that_is_refused_for_ever_and_a_server_of_nobodys_are_told_apart(
    tmp_path: Path,
) -> None:
    """5xx is never tried again; a certificate of another authority gets neither login nor text; a
    refused login is the operator's to put right."""
    text = replace(TEXT, address="nobody@wexmoor.example")
    with mail_server(tmp_path) as (channel, box, _):
        box.answer = "550 no such mailbox"
        assert isinstance(made(channel).send(text), NeverAccepted)
        box.answer = ""
        outcome = made(replace(channel, ca_file=None)).send(text)
        assert isinstance(outcome, Failed)
        assert "TLS failed" in outcome.why
        (tmp_path / "secret").write_text("wrong")
        outcome = made(channel).send(text)
        assert isinstance(outcome, Failed)
        assert outcome.channel_unusable
        assert box.mails == []


def test_a_siren_is_on_while_any_of_its_alarms_is_and_off_when_the_watch_dies(
    tmp_path: Path,
) -> None:
    """On by raised, off by taken or cleared of the last; the broker's will switches it off."""
    broker = Mosquitto(tmp_path)
    broker.start()
    listener = Listener(broker.port, ["yard/siren"])
    link = LinkSettings(host="127.0.0.1", port=broker.port, keep_alive_seconds=2)
    topics: list[KeptTopic] = []

    def topic(one: SirenChannel) -> KeptTopic:
        topics.append(KeptTopic(link, one.topic, gone=one.off.encode()))
        return topics[-1]

    try:
        channel = SirenChannel(id="siren", topic="yard/siren")
        sender = sender_of(channel, MachineClock(), Outside(topic=topic))
        for number, kind in ((1, "raised"), (2, "raised"), (1, "taken"), (2, "cleared")):
            assert isinstance(sender.send(replace(TEXT, number=number, kind=kind)), Accepted)
        until(lambda: len(listener.heard) >= 4)
        assert [one[1] for one in listener.heard] == [b"on", b"on", b"on", b"off"]
        sender.send(TEXT)
        until(lambda: listener.heard[-1][1] == b"on")
        # It dies: the connection is cut without a word.
        client = topics[0]._client
        assert client is not None
        client.reconnect_delay_set(60, 60)
        sock = client.socket()
        assert sock is not None
        sock.close()
        until(lambda: listener.heard[-1][1] == b"off", what="off by the broker's will")
        late = Listener(broker.port, ["yard/siren"])
        until(lambda: late.heard)
        assert late.heard[0][1:] == (b"off", True), "retained: who comes later sees it too"
        late.close()
    finally:
        listener.close()
        for one in topics:
            one.stop()
        broker.stop()
