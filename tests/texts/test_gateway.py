"""The HTTP channel against a real server on loopback that answers well, badly or not at all."""

import logging
import socket
import ssl
import threading
import time
from datetime import UTC
from email.utils import format_datetime
from pathlib import Path

import pytest
import trustme
from hypothesis import given
from hypothesis import strategies as st

from brineward.clock import MachineClock
from brineward.config.secret_table import Secret
from brineward.config.settings import HttpChannel
from brineward.readings.instants import SECOND, local_from_instant
from brineward.readings.outputs import Notice, Priority
from brineward.texts.attempts import Accepted, Failed, NeverAccepted, Outcome
from brineward.texts.gateway import (
    WORDS_KEPT,
    ChannelMistake,
    HttpSender,
    outcome_of_answer,
    retry_after_seconds,
    scrubbed,
)
from brineward.texts.senders import OutgoingText
from gateways import Answer, Gateway, free_port, wait_until

NOW = 1_767_225_600_000
HUSH = "hush/hush+very hush"
OUTGOING = OutgoingText(
    key="k7-tern-hollow-12-raised-1-yard",
    depot="tern-hollow",
    number=12,
    kind="raised",
    priority=Priority.HIGH,
    name="Yard lead",
    address="+1 555 0141",
    notice=Notice(kind="raised", plain="TH12 HIGH Tern Hollow: {id} & 21.4 %"),
    attempt=1,
)
FIELDS = {"to": "{address}", "text": "{body}", "reference": "{id}", "who": "for {name}"}
EXPECTED = {
    "to": "+1 555 0141",
    "text": "TH12 HIGH Tern Hollow: {id} & 21.4 %",
    "reference": "k7-tern-hollow-12-raised-1-yard",
    "who": "for Yard lead",
}


@pytest.fixture(autouse=True)
def _no_proxy(monkeypatch: pytest.MonkeyPatch) -> None:
    for name in ("http_proxy", "https_proxy", "all_proxy", "HTTP_PROXY", "HTTPS_PROXY"):
        monkeypatch.delenv(name, raising=False)
    monkeypatch.setenv("BRINEWARD_TEST_TOKEN", HUSH)


def channel(url: str, **changes: object) -> HttpChannel:
    """A channel with short timeouts and a secret."""
    usual: dict[str, object] = {
        "id": "phone",
        "url": url,
        "fields": FIELDS,
        "secrets": {"token": Secret(environment="BRINEWARD_TEST_TOKEN")},
        "connect_timeout_seconds": 0.3,
        "answer_timeout_seconds": 0.5,
    }
    return HttpChannel(**(usual | changes))


def send(url: str, **changes: object) -> Outcome:
    """What one attempt comes to."""
    return HttpSender(channel(url, **changes), MachineClock()).send(OUTGOING)


@pytest.mark.parametrize("method", ["POST", "PUT", "GET"])
@pytest.mark.parametrize("body", ["json", "form", "query"])
def test_the_gateway_gets_what_the_templates_say(method: str, body: str) -> None:
    """Each place is filled once, in each form, and braces in a body are not filled again."""
    with Gateway(Answer(status=202, body=b" queued\n as 77 ")) as gateway:
        outcome = send(
            gateway.url + "/{name}/{secret:token}",
            method=method,
            body=body,
            headers={"Authorization": "Bearer {secret:token}"},
        )
        asked = gateway.asked[0]
    assert outcome == Accepted(receipt="queued as 77")
    assert asked.method == method
    assert asked.path == "/messages/Yard%20lead/hush%2Fhush%2Bvery%20hush"
    assert asked.headers["idempotency-key"] == OUTGOING.key
    assert asked.headers["authorization"] == f"Bearer {HUSH}"
    if body == "query":
        assert asked.query == EXPECTED
    elif body == "form":
        assert asked.form() == EXPECTED
    else:
        assert asked.json() == EXPECTED


@pytest.mark.parametrize("status", [200, 201, 202, 204, 299])
def test_2xx_is_accepted(status: int) -> None:
    """Any 2xx means the gateway has it."""
    assert isinstance(outcome_of_answer("phone", status, {}, "", NOW), Accepted)


@pytest.mark.parametrize("status", [101, 408, 425, 429, 500, 502, 503, 504, 599, 999])
def test_troubles_that_pass_are_tried_again(status: int) -> None:
    """408, 425, 429, 5xx and what nobody understands are tried again."""
    outcome = outcome_of_answer("phone", status, {}, "try later", NOW)
    assert outcome == Failed(why=f"channel phone answered {status}: try later")


@pytest.mark.parametrize("status", [301, 302, 307, 308, 400, 401, 403, 404, 410, 422, 451])
def test_refusals_are_final(status: int) -> None:
    """A repeat would be refused again; the gateway's words are kept."""
    outcome = outcome_of_answer("phone", status, {}, "no such number", NOW)
    assert isinstance(outcome, NeverAccepted)
    assert f"{status}: no such number" in outcome.why


def test_a_redirect_is_not_followed() -> None:
    """A text and its secret go only where the config says."""
    with Gateway() as elsewhere:
        moved = Answer(status=307, headers={"Location": elsewhere.url})
        with Gateway(moved) as gateway:
            assert isinstance(send(gateway.url), NeverAccepted)
        assert elsewhere.asked == []


@pytest.mark.parametrize(
    ("asked", "seconds"),
    [("120", 120.0), (" 7 ", 7.0), ("", None), ("soon", None), ("-5", None), ("1e3", None)],
)
def test_retry_after_in_seconds(asked: str, seconds: float | None) -> None:
    """Whole seconds are read; nonsense asks for nothing (RFC 9110 section 10.2.3)."""
    assert retry_after_seconds({"Retry-After": asked}, NOW) == seconds


def test_retry_after_as_a_date() -> None:
    """An HTTP date is a wait from now, never a negative one."""
    in_a_minute = format_datetime(local_from_instant(NOW + 60 * SECOND, UTC), usegmt=True)
    assert retry_after_seconds({"Retry-After": in_a_minute}, NOW) == 60
    assert retry_after_seconds({"Retry-After": in_a_minute}, NOW + 3600 * SECOND) == 0


@given(st.text(max_size=60) | st.from_regex(r"[A-Z][a-z]{2}, \d+ [A-Z][a-z]{2} \d+ [\d:]+ .*"))
def test_any_retry_after_is_survived(asked: str) -> None:
    """Whatever the header says, the answer is a wait or none."""
    seconds = retry_after_seconds({"Retry-After": asked}, NOW)
    assert seconds is None or seconds >= 0


def test_a_429_says_how_long_to_wait() -> None:
    """The header of a real answer arrives in the outcome."""
    with Gateway(Answer(status=429, headers={"Retry-After": "42"}, body=b"slow down")) as gateway:
        outcome = send(gateway.url)
    assert outcome == Failed(why="channel phone answered 429: slow down", asked_seconds=42.0)


@pytest.mark.parametrize(
    ("fault", "words"),
    [
        ("reset", "Connection reset"),
        ("close", "RemoteDisconnected"),
        ("garbage", "BadStatusLine"),
        ("hang", "no answer within"),
        ("dribble headers", "no whole answer within"),
    ],
)
def test_an_answer_that_never_comes_is_tried_again_in_bounded_time(fault: str, words: str) -> None:
    """Nobody knows whether the gateway has it, so it is sent again; the lane is free in time."""
    with Gateway(Answer(fault=fault)) as gateway:
        began = time.monotonic()
        outcome = send(gateway.url)
        took = time.monotonic() - began
        assert len(gateway.asked) == 1, "one attempt is one request"
    assert isinstance(outcome, Failed)
    assert words in outcome.why
    assert took < 15.0


@pytest.mark.parametrize("fault", ["dribble body", "huge", "cut"])
def test_trouble_after_an_accepting_status_changes_nothing(fault: str) -> None:
    """The gateway has said 200: an endless, huge or cut body does not make it a repeat."""
    with Gateway(Answer(fault=fault)) as gateway:
        outcome = send(gateway.url)
    assert isinstance(outcome, Accepted)
    assert len(outcome.receipt) <= WORDS_KEPT


def test_a_refused_connection_is_tried_again() -> None:
    """A gateway that is down is named with the plain reason, without its URL."""
    outcome = send(f"http://127.0.0.1:{free_port()}/?key={{secret:token}}")
    assert outcome == Failed(why="channel phone: no answer: Connection refused")


def test_a_connection_that_never_opens_is_given_up_in_time() -> None:
    """A listener whose queue is full leaves the connection hanging; the timeout ends it."""
    with socket.socket() as full:
        full.bind(("127.0.0.1", 0))
        full.listen(0)
        fillers = [socket.socket() for _ in range(4)]
        for filler in fillers:
            filler.setblocking(False)
            filler.connect_ex(full.getsockname())
        outcome = send(f"http://127.0.0.1:{full.getsockname()[1]}/")
        for filler in fillers:
            filler.close()
    assert isinstance(outcome, Failed)
    assert "within" in outcome.why


@pytest.fixture(scope="module")
def authority() -> trustme.CA:
    """A certificate authority of the tests' own."""
    return trustme.CA()


@pytest.fixture
def tls(authority: trustme.CA) -> ssl.SSLContext:
    """A server's side of TLS with a certificate of that authority."""
    context = ssl.create_default_context(ssl.Purpose.CLIENT_AUTH)
    authority.issue_cert("127.0.0.1").configure_cert(context)
    return context


def test_a_gateway_that_nobody_vouches_for_gets_no_text(tls: ssl.SSLContext) -> None:
    """An unknown certificate fails before anything is said, and is tried again."""
    with Gateway(tls=tls) as gateway:
        outcome = send(gateway.url)
        assert gateway.asked == []
    assert isinstance(outcome, Failed)
    assert "TLS failed" in outcome.why


def test_a_server_that_speaks_no_tls_is_tried_again() -> None:
    """https to a plain server fails as TLS."""
    with Gateway() as gateway:
        outcome = send(gateway.url.replace("http:", "https:"))
    assert isinstance(outcome, Failed)
    assert "TLS failed" in outcome.why


def test_tls_works_and_its_dribble_is_bounded_too(
    tls: ssl.SSLContext, authority: trustme.CA, tmp_path: Path, monkeypatch: pytest.MonkeyPatch
) -> None:
    """With a trusted certificate texts pass, and a dribbling TLS server is shut down in time."""
    trusted = tmp_path / "authority.pem"
    authority.cert_pem.write_to_path(str(trusted))
    monkeypatch.setenv("REQUESTS_CA_BUNDLE", str(trusted))
    with Gateway(Answer(), Answer(fault="dribble headers"), tls=tls) as gateway:
        assert isinstance(send(gateway.url), Accepted)
        outcome = send(gateway.url)
    assert isinstance(outcome, Failed)
    assert "no whole answer within 0.8 s" in outcome.why


def test_a_tls_handshake_that_never_ends_is_bounded() -> None:
    """A server that takes the connection and says nothing of TLS holds nobody up."""
    with socket.create_server(("127.0.0.1", 0)) as silent:
        outcome = send(f"https://127.0.0.1:{silent.getsockname()[1]}/")
    assert isinstance(outcome, Failed)


def test_no_secret_in_any_word(caplog: pytest.LogCaptureFixture) -> None:
    """Not in outcomes of any kind, not in a repr, not in a log at its most talkative."""
    caplog.set_level(logging.DEBUG)
    echo = Answer(status=400, body=f"bad token {HUSH} at hush%2Fhush%2Bvery%20hush".encode())
    secretive: dict[str, object] = {
        "body": "query",
        "fields": {"key": "{secret:token}"},
        "headers": {"Authorization": "Bearer {secret:token}"},
    }
    with Gateway(echo, Answer(body=HUSH.encode()), Answer(fault="garbage")) as gateway:
        said = [repr(send(gateway.url + "?k={secret:token}", **secretive)) for _ in range(3)]
        said.append(repr(HttpSender(channel(gateway.url, **secretive), MachineClock())))
        said.append(repr(channel(gateway.url, **secretive)))
    said.append(repr(send(f"http://127.0.0.1:{free_port()}/{{secret:token}}", **secretive)))
    said.append(repr(send("http://[::1/{secret:token}", **secretive)))
    said.append(repr(send("gopher://127.0.0.1/{secret:token}", **secretive)))
    said.append(caplog.text)
    assert "bad token *** at ***" in said[0]
    assert [words for words in said if "hush" in words] == []


@pytest.mark.parametrize("url", ["http://[::1/", "gopher://127.0.0.1/", "http:///", "http://a:b/"])
def test_a_url_that_can_never_work_is_final(url: str) -> None:
    """A repeat would not mend the config, so the text is dead at once and the alarm is early."""
    outcome = send(url)
    assert isinstance(outcome, NeverAccepted)
    assert "can't be made" in outcome.why


def test_a_header_that_cannot_be_sent_is_final() -> None:
    """HTTP headers are Latin-1: anything else is said, and the value is not quoted."""
    with Gateway() as gateway:
        outcome = send(gateway.url, headers={"X-To": "{name} снег"})
    assert outcome == NeverAccepted(why="channel phone: its URL or a header can't be encoded")


def test_a_line_end_in_a_name_makes_no_header() -> None:
    """What a person is called can't smuggle a header into the request."""
    text = OutgoingText(
        **{name: getattr(OUTGOING, name) for name in OUTGOING.__slots__}
        | {"name": "Yard\r\nX-Evil: 1"}
    )
    with Gateway() as gateway:
        sender = HttpSender(channel(gateway.url, headers={"X-To": "{name}"}), MachineClock())
        assert isinstance(sender.send(text), Accepted)
        assert gateway.asked[0].headers["x-to"] == "Yard X-Evil: 1"
        assert "x-evil" not in gateway.asked[0].headers


def test_a_missing_secret_is_said_and_tried_again(monkeypatch: pytest.MonkeyPatch) -> None:
    """The operator can put it there while texts wait; nothing is sent without it."""
    monkeypatch.delenv("BRINEWARD_TEST_TOKEN")
    with Gateway() as gateway:
        outcome = send(gateway.url)
        assert gateway.asked == []
    assert isinstance(outcome, Failed)
    assert "BRINEWARD_TEST_TOKEN is not set" in outcome.why


def test_template_mistakes_are_found_before_the_start() -> None:
    """Every unknown place is named with where it stands."""
    with pytest.raises(ChannelMistake) as caught:
        HttpSender(
            channel(
                "http://127.0.0.1/{adress}",
                fields={"to": "{secret:tokn}", "ok": "{name}"},
                headers={"X": "{}"},
            ),
            MachineClock(),
        )
    said = str(caught.value)
    assert "channel phone, url: {adress} is not known" in said
    assert "fields.to: {secret:tokn} names a secret that this channel does not have" in said
    assert "headers.X: {} is not known" in said


def test_a_stray_netrc_file_is_not_used(tmp_path: Path, monkeypatch: pytest.MonkeyPatch) -> None:
    """Logins come from the channel's headers only."""
    netrc = tmp_path / "netrc"
    netrc.write_text("machine 127.0.0.1 login a password b\n", encoding="utf-8")
    monkeypatch.setenv("NETRC", str(netrc))
    with Gateway() as gateway:
        send(gateway.url)
        assert "authorization" not in gateway.asked[0].headers


def test_no_thread_stays_behind() -> None:
    """The deadline's timer ends with its attempt, not when its time is over."""
    with Gateway() as gateway:
        for _ in range(3):
            send(gateway.url, answer_timeout_seconds=120.0)
        wait_until(
            lambda: not any(isinstance(each, threading.Timer) for each in threading.enumerate())
        )


@given(st.text(max_size=500), st.text(min_size=4, max_size=30))
def test_scrubbed_words_are_short_visible_and_without_the_secret(words: str, secret: str) -> None:
    """Whatever a gateway says around the secret, the secret itself is gone before anything else."""
    clean = scrubbed(f"{words}{secret}{words}", [secret])
    assert len(clean) <= WORDS_KEPT
    assert clean.isprintable()
    assert secret in "***" or secret not in clean


@pytest.mark.parametrize(
    ("words", "taken"),
    [
        (b'{"status": "rejected", "reason": "no credit"}', False),
        (b'{"data": "' + b"x" * 1000 + b'", "status": "rejected"}', False),
        (b'{"status": "queued"}', True),
        (b"", True),
    ],
)
def test_an_answer_of_200_that_says_no_in_its_words_has_taken_nothing(
    words: bytes, taken: bool
) -> None:
    """Where the config says what a refusal looks like: then the text is tried again, and given up
    in the end, and the alarm about the person is raised; it is never taken for delivered.
    """
    pattern = '"status": *"rejected"'
    with Gateway(Answer(status=200, body=words)) as gateway:
        outcome = send(gateway.url, failed_when=pattern)
    assert isinstance(outcome, Accepted if taken else Failed)
    if not taken:
        assert "took no text" in outcome.why
    with Gateway(Answer(status=200, body=words)) as gateway:
        assert isinstance(send(gateway.url), Accepted), "nobody has said what to look for"
