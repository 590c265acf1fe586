"""Getting in: TLS with an authority made for the test, logins, access lists, granted topics."""

import logging
import shutil
import socket
import ssl
import subprocess
import threading
from collections.abc import Iterator
from contextlib import contextmanager
from pathlib import Path
from typing import Any

import pytest

from brineward.config.secret_table import Secret
from brineward.config.settings import TlsSettings
from brokers import DEPLOYED, Mosquitto, add_login, published, until
from link.linking import TOPIC, linked, settings_for

PASSWORD = "salt and lake water"


def openssl(*arguments: str, directory: Path) -> None:
    """Run openssl in a directory."""
    program = shutil.which("openssl")
    if program is None:
        pytest.skip("needs the command openssl: apt-get install openssl")
    subprocess.run([program, *arguments], cwd=directory, check=True, capture_output=True)


def authority(directory: Path, name: str) -> None:
    """A certificate authority of our own: NAME.pem and NAME.key."""
    openssl("req", "-x509", "-newkey", "rsa:2048", "-nodes", "-days", "2", "-subj",
            f"/CN=Wexmoor County {name}", "-addext", "keyUsage=critical,keyCertSign", "-keyout",
            f"{name}.key", "-out", f"{name}.pem", directory=directory)  # fmt: skip


def certificate(directory: Path, name: str, *, subject: str) -> None:
    """A certificate signed by `ca` for a host's address or name: NAME.pem and NAME.key."""
    (directory / f"{name}.ext").write_text(f"subjectAltName={subject}\n")
    openssl("req", "-newkey", "rsa:2048", "-nodes", "-subj", f"/CN={name}", "-keyout",
            f"{name}.key", "-out", f"{name}.csr", directory=directory)  # fmt: skip
    openssl("x509", "-req", "-in", f"{name}.csr", "-CA", "ca.pem", "-CAkey", "ca.key",
            "-CAcreateserial", "-days", "2", "-extfile", f"{name}.ext", "-out", f"{name}.pem",
            directory=directory)  # fmt: skip


@pytest.fixture(scope="module")
def papers(tmp_path_factory: pytest.TempPathFactory) -> Path:
    """Authorities and certificates: `ca`, `stranger`, `here` (127.0.0.1) and `elsewhere`."""
    directory = tmp_path_factory.mktemp("papers")
    authority(directory, "ca")
    authority(directory, "stranger")
    certificate(directory, "here", subject="IP:127.0.0.1")
    certificate(directory, "elsewhere", subject="DNS:elsewhere.invalid")
    return directory


@contextmanager
def secured(directory: Path, papers: Path, name: str = "here") -> Iterator[Mosquitto]:
    """A mosquitto that wants TLS and a login."""
    passwords = directory / "passwords"
    add_login(passwords, "brineward", PASSWORD)
    broker = Mosquitto(
        directory / "mosquitto",
        {
            "allow_anonymous": "false",
            "cafile": str(papers / "ca.pem"),
            "certfile": str(papers / f"{name}.pem"),
            "keyfile": str(papers / f"{name}.key"),
            "password_file": str(passwords),
        },
    )
    broker.start()
    try:
        yield broker
    finally:
        broker.kill()


@pytest.mark.parametrize("protocol", ["5", "3.1.1"])
@pytest.mark.mosquitto
def test_tls_and_a_login_let_us_in(
    tmp_path: Path, papers: Path, protocol: str, caplog: pytest.LogCaptureFixture
) -> None:
    """With the right authority and password messages flow, and the password is in no log."""
    caplog.set_level(logging.DEBUG)
    (tmp_path / "secret").write_text(PASSWORD + "\n")
    with secured(tmp_path, papers) as broker:
        settings = settings_for(
            broker.port,
            protocol=protocol,
            username="brineward",
            password=Secret(file=tmp_path / "secret"),
            tls=TlsSettings(ca_file=papers / "ca.pem"),
        )
        with linked(settings, [TOPIC, settings.state_topic]) as worker:
            worker.take_until(1)
            assert worker.changes[0].up
            assert b"online" in worker.payloads[0]  # its own retained state came over TLS
        assert PASSWORD not in caplog.text
        assert PASSWORD not in repr(settings)


def test_what_tls_has_decrypted_already_is_not_forgotten(
    papers: Path, monkeypatch: pytest.MonkeyPatch
) -> None:
    """Many messages in one TLS record leave nothing to see on the socket; they are read on at
    once all the same, not one a second."""
    monkeypatch.setattr("brineward.link.connection._READ_AT_ONCE", 1)
    context = ssl.SSLContext(ssl.PROTOCOL_TLS_SERVER)
    context.load_cert_chain(papers / "here.pem", papers / "here.key")
    published = b"".join(b"\x30\x06\x00\x01a%03d" % number for number in range(400))
    broker = Grudging(b"\x01", then=published, context=context)
    tls = TlsSettings(ca_file=papers / "ca.pem")
    with linked(settings_for(broker.port, protocol="3.1.1", tls=tls), ["a"]) as worker:
        worker.take_until(400)
        assert worker.payloads == [b"%03d" % number for number in range(400)]
    broker.close()


@pytest.mark.parametrize(
    ("ca", "presented", "words"),
    [
        ("stranger", "here", "certificate verify failed"),
        ("ca", "elsewhere", "certificate is not valid for '127.0.0.1'"),
        ("missing", "here", "No such file"),
    ],
)
@pytest.mark.mosquitto
def test_a_certificate_that_does_not_fit_keeps_us_out(
    tmp_path: Path, papers: Path, ca: str, presented: str, words: str
) -> None:
    """A stranger's certificate, another host's, or a missing authority: never connected, and
    the reason says which."""
    with secured(tmp_path, papers, presented) as broker:
        settings = settings_for(
            broker.port,
            username="brineward",
            tls=TlsSettings(ca_file=papers / f"{ca}.pem"),
        )
        with linked(settings) as worker:
            down = worker.take_until_change(1)
            assert not down.up
            assert words in down.why


@pytest.mark.parametrize("protocol", ["5", "3.1.1"])
@pytest.mark.mosquitto
def test_a_wrong_password_is_told_and_tried_again(
    tmp_path: Path, papers: Path, protocol: str
) -> None:
    """A refused login is said in the broker's words; mended, it works without a restart."""
    secret = tmp_path / "secret"
    with secured(tmp_path, papers) as broker:
        settings = settings_for(
            broker.port,
            protocol=protocol,
            username="brineward",
            password=Secret(file=secret),
            tls=TlsSettings(ca_file=papers / "ca.pem"),
        )
        with linked(settings) as worker:
            down = worker.take_until_change(1)
            assert not down.up
            assert str(secret) in down.why
            secret.write_text("wrong")
            until(lambda: "refused us" in worker.link._why, what="refused")
            secret.write_text(PASSWORD)
            assert worker.take_until_change(2).up


@pytest.mark.mosquitto
def test_the_access_list_keeps_each_gateway_to_its_depot(tmp_path: Path) -> None:
    """With deploy/'s access list, Tern Hollow's gateway can't speak for another depot."""
    passwords = tmp_path / "passwords"
    for name in ("brineward", "tern-hollow"):
        add_login(passwords, name, PASSWORD)
    broker = Mosquitto(
        tmp_path / "mosquitto",
        {
            "allow_anonymous": "false",
            "password_file": str(passwords),
            "acl_file": str(DEPLOYED.with_suffix(".acl")),
        },
    )
    broker.start()
    (tmp_path / "secret").write_text(PASSWORD)
    settings = settings_for(
        broker.port, username="brineward", password=Secret(file=tmp_path / "secret")
    )
    other = "brine/kettle-ridge/main-level"
    try:
        with linked(settings, [TOPIC, other]) as worker:
            until(lambda: worker.take() or worker.subscribed)
            published(broker.port, [(other, b"1"), (TOPIC, b"2")], login=("tern-hollow", PASSWORD))
            worker.take_until(1)
            assert [message.topic for message in worker.messages] == [TOPIC]
    finally:
        broker.kill()


class Grudging:
    """A broker for one caller, that answers a subscription with codes of the test's."""

    def __init__(
        self, codes: bytes, *, then: bytes = b"", context: ssl.SSLContext | None = None
    ) -> None:
        """With a context it speaks TLS; `then` is sent after the answer, all in one piece."""
        self._server = socket.create_server(("127.0.0.1", 0))
        self.port = self._server.getsockname()[1]
        self._codes = codes
        self._then = then
        self._context = context
        self._thread = threading.Thread(target=self._serve, daemon=True)
        self._thread.start()

    def _serve(self) -> None:
        caller, _ = self._server.accept()
        if self._context is not None:
            caller = self._context.wrap_socket(caller, server_side=True)
        with caller:
            greeting = caller.recv(4096)
            five = greeting[greeting.index(b"MQTT") + 4] == 5
            # CONNACK and SUBACK, sections 3.2 and 3.9 of either version; 5 has properties: none.
            caller.sendall(b"\x20\x03\x00\x00\x00" if five else b"\x20\x02\x00\x00")
            received = b""
            while b"\x82" not in received:
                received += caller.recv(4096)
            start = received.index(b"\x82")  # SUBSCRIBE, section 3.8
            packet_id = received[start + 2 : start + 4]
            body = packet_id + (b"\x00" if five else b"") + self._codes
            caller.sendall(b"\x90" + bytes([len(body)]) + body)
            caller.sendall(self._then)
            while caller.recv(4096):
                pass

    def close(self) -> None:
        """Let nobody in any more."""
        self._server.close()


@pytest.mark.parametrize(
    ("codes", "words"),
    [
        (b"\x01\x87", "does not grant QoS 1 for b (Not authorized)"),
        (b"\x00\x01", "does not grant QoS 1 for a (Granted QoS 0)"),
    ],
)
def test_a_topic_that_is_not_granted_is_told(codes: bytes, words: str) -> None:
    """A topic that the broker refuses, or grants with a lower QoS, is said by name."""
    broker = Grudging(codes)
    settings: Any = settings_for(broker.port)
    with linked(settings, ["a", "b"]) as worker:
        told = worker.take_until_change(2)
        assert told.up
        assert words in told.why
    broker.close()
