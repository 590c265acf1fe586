"""deploy/mosquitto as it says to be installed: beside Debian's own file; with TLS and logins.

Source of Debian's file: /etc/mosquitto/mosquitto.conf of its package mosquitto 2.0.11-1.2+deb12u2.
"""

import re
import ssl
import subprocess
import threading
from collections.abc import Iterator
from contextlib import contextmanager
from pathlib import Path

import pytest
import trustme
from paho.mqtt.client import Client, ConnectFlags, MQTTMessage
from paho.mqtt.enums import CallbackAPIVersion
from paho.mqtt.properties import Properties
from paho.mqtt.reasoncodes import ReasonCode

from brineward.link.embedded import free_port
from brokers import add_login, mosquitto_program, until
from checkout import ROOT

OURS = ROOT / "deploy" / "mosquitto"
PASSWORDS = {"brineward": "salt and lake water", "tern-hollow": "gravel"}

pytestmark = pytest.mark.mosquitto


@contextmanager
def debian_with(folder: Path, settings: str) -> Iterator[Path]:
    """Debian's mosquitto.conf, moved to a folder, with these settings in its conf.d; its log."""
    for name in ("conf.d", "lib"):
        (folder / name).mkdir()
    log = folder / "mosquitto.log"
    main = folder / "mosquitto.conf"
    main.write_text(
        f"pid_file {folder}/mosquitto.pid\npersistence true\npersistence_location {folder}/lib/\n"
        f"log_dest file {log}\ninclude_dir {folder}/conf.d\nuser root\n"
    )
    (folder / "conf.d" / "brineward.conf").write_text(settings)
    with (folder / "output").open("w") as output:
        broker = subprocess.Popen(
            [mosquitto_program(), "-c", str(main)], stdout=output, stderr=output
        )
    try:
        until(
            lambda: (folder / "mosquitto.pid").exists() or broker.poll() is not None,
            what="a start or a refusal",
        )
        assert broker.poll() is None, (folder / "output").read_text()
        yield log
        assert broker.poll() is None, "it ended by itself"
    finally:
        broker.terminate()
        broker.wait(10)


class Somebody:
    """A client that notes whether it was let in, and what it hears."""

    def __init__(self, port: int, name: str = "", password: str = "", ca: Path | None = None):
        self.answer: str = ""
        self.heard: list[tuple[str, bytes]] = []
        self._answered = threading.Event()
        self._client = Client(CallbackAPIVersion.VERSION2)
        self._client.on_connect = self._on_connect
        self._client.on_message = self._on_message
        if name:
            self._client.username_pw_set(name, password)
        if ca is not None:
            self._client.tls_set(ca_certs=str(ca), tls_version=ssl.PROTOCOL_TLS_CLIENT)
        until(lambda: self._connects(port), what="an open port")
        self._client.loop_start()
        assert self._answered.wait(10)

    def _connects(self, port: int) -> bool:
        try:
            self._client.connect("127.0.0.1", port)
        except ConnectionRefusedError:
            return False
        return True

    def _on_connect(
        self, _c: Client, _u: object, _f: ConnectFlags, reason: ReasonCode, _p: Properties | None
    ) -> None:
        self.answer = str(reason)
        self._answered.set()

    def _on_message(self, _c: Client, _u: object, message: MQTTMessage) -> None:
        self.heard.append((message.topic, message.payload))

    def listen(self, topic: str) -> None:
        """Subscribe, and return once that is granted or refused."""
        granted = threading.Event()
        self._client.on_subscribe = lambda *_: granted.set()
        self._client.subscribe(topic, 1)
        assert granted.wait(10)

    def say(self, topic: str, payload: bytes) -> None:
        """Publish with QoS 1, and return once the broker has it (or has dropped it)."""
        self._client.publish(topic, payload, 1).wait_for_publish(10)

    def close(self) -> None:
        """Leave."""
        self._client.disconnect()
        self._client.loop_stop()


def test_it_stands_beside_debians_own_file(tmp_path: Path) -> None:
    """Put in conf.d as it is, mosquitto starts with it, listens, and sets nothing twice."""
    port = free_port()
    settings = (OURS / "brineward.conf").read_text()
    assert settings.count("\nlistener 1883 127.0.0.1\n") == 1
    with debian_with(tmp_path, settings.replace("listener 1883 ", f"listener {port} ")) as log:
        client = Somebody(port)
        assert client.answer == "Success"
        client.say("brine/tern-hollow/main-level", b"1.5")
        client.close()
        assert "Error" not in log.read_text()


@pytest.fixture
def secured(tmp_path: Path) -> Iterator[tuple[int, int, Path]]:
    """The settings with TLS, changed as their comments say: plain port, TLS port, authority."""
    authority = trustme.CA()
    host = authority.issue_cert("127.0.0.1")
    papers = tmp_path / "papers"
    papers.mkdir()
    authority.cert_pem.write_to_path(str(papers / "ca.pem"))
    host.cert_chain_pems[0].write_to_path(str(papers / "broker.pem"))
    host.private_key_pem.write_to_path(str(papers / "broker.key"))
    passwords = papers / "brineward.passwd"
    for name, password in PASSWORDS.items():
        add_login(passwords, name, password)
    acl = papers / "brineward.acl"
    acl.write_text((OURS / "brineward.acl").read_text())
    acl.chmod(0o600)

    plain, tls = free_port(), free_port()
    settings = (OURS / "brineward.conf").read_text()
    block = settings[settings.index("# Sensors and gateways elsewhere") :]
    settings = settings.replace(block, re.sub(r"^#(?=[a-z_])", "", block, flags=re.MULTILINE))
    for was, becomes in (
        ("allow_anonymous true", "allow_anonymous false"),
        ("listener 1883 ", f"listener {plain} "),
        ("listener 8883", f"listener {tls} 127.0.0.1"),
        ("/etc/mosquitto/certs/", f"{papers}/"),
        ("/etc/mosquitto/brineward.", f"{papers}/brineward."),
    ):
        assert re.search(f"^[^#]*{re.escape(was)}", settings, re.MULTILINE), was
        settings = settings.replace(was, becomes)
    with debian_with(tmp_path, settings):
        yield plain, tls, papers / "ca.pem"


def test_without_a_login_nobody_gets_in(secured: tuple[int, int, Path]) -> None:
    """Not over TLS, not on the machine itself, and not with a wrong password."""
    plain, tls, ca = secured
    for port, authority in ((plain, None), (tls, ca)):
        for name, password in (("", ""), ("tern-hollow", "sand")):
            stranger = Somebody(port, name, password, authority)
            assert stranger.answer == "Not authorized"
            stranger.close()


def test_a_gateway_speaks_for_its_own_depot_alone(secured: tuple[int, int, Path]) -> None:
    """brineward hears its readings; what it says of another depot, or of brineward, is dropped."""
    plain, tls, ca = secured
    watchman = Somebody(plain, "brineward", PASSWORDS["brineward"])
    watchman.listen("brine/#")
    gateway = Somebody(tls, "tern-hollow", PASSWORDS["tern-hollow"], ca)
    gateway.listen("brine/#")
    gateway.say("brine/kettle-ridge/main-level", b"0.1")
    gateway.say("brine/brineward/brineward/state", b"all well")
    gateway.say("brine/tern-hollow/main-level", b"1.5")
    until(lambda: watchman.heard, what="the reading")
    watchman.say("brine/tern-hollow/main-level", b"9.9")
    watchman.say("brine/brineward/brineward/state", b"online")
    until(lambda: gateway.heard, what="brineward's state")
    assert watchman.heard[0] == ("brine/tern-hollow/main-level", b"1.5")
    assert gateway.heard == [("brine/brineward/brineward/state", b"online")]
    until(lambda: len(watchman.heard) == 2, what="its own state, and no reading of its own")
    assert watchman.heard[1][0] == "brine/brineward/brineward/state"
    watchman.close()
    gateway.close()
