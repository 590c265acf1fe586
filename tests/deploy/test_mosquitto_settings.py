"""deploy/mosquitto as it says to be installed: beside Debian's own file; with TLS and logins.

Source of Debian's file: /etc/mosquitto/mosquitto.conf of its package mosquitto 2.0.11-1.2+deb12u2.
"""

import re
import socket
import ssl
import subprocess
import threading
from collections.abc import Iterator
from contextlib import contextmanager, suppress
from pathlib import Path

import psutil
import pytest
import trustme
from paho.mqtt.client import Client, ConnectFlags, MQTTMessage
from paho.mqtt.enums import CallbackAPIVersion
from paho.mqtt.properties import Properties
from paho.mqtt.reasoncodes import ReasonCode

from brineward.config.secret_table import Secret
from brineward.link.embedded import free_port
from brokers import add_login, mosquitto_program, until
from checkout import ROOT
from link.linking import linked, settings_for
from link.test_read_ahead import packet

OURS = ROOT / "deploy" / "mosquitto"
PASSWORDS = {
    "brineward": "salt and lake water",
    "tern-hollow": "gravel",
    "tern-hollow-pump": "grit",
    "phone-gateway": "pebbles",
}

pytestmark = pytest.mark.mosquitto


def listens_on(process: int) -> set[int]:
    """The TCP ports that a process listens on; none once it has gone."""
    try:
        found = psutil.Process(process).net_connections("tcp")
    except psutil.NoSuchProcess:
        return set()
    return {one.laddr.port for one in found if one.status == psutil.CONN_LISTEN}


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
        # It writes its process number before it listens.
        ports = {int(port) for port in re.findall(r"^listener (\d+)", settings, re.MULTILINE)}
        until(
            lambda: broker.poll() is not None or ports <= listens_on(broker.pid),
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

    def __init__(
        self,
        port: int,
        name: str = "",
        password: str = "",
        ca: Path | None = None,
        client_id: str = "",
    ) -> None:
        self.answer: str = ""
        self.heard: list[tuple[str, bytes]] = []
        self._answered = threading.Event()
        self._client = Client(CallbackAPIVersion.VERSION2, client_id=client_id)
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

    def is_connected(self) -> bool:
        """Is it let in now?"""
        return self._client.is_connected()

    def close(self) -> None:
        """Leave."""
        self._client.disconnect()
        self._client.loop_stop()


def test_it_stands_beside_debians_own_file(tmp_path: Path) -> None:
    """Put in conf.d as it is, mosquitto starts with it, listens, and sets nothing twice."""
    port = free_port()
    assert (OURS / "brineward.conf").read_text().count("\nlistener 1883 127.0.0.1\n") == 1
    settings = settled(tmp_path, port)
    with debian_with(tmp_path, settings) as log:
        client = Somebody(port, "tern-hollow", PASSWORDS["tern-hollow"])
        assert client.answer == "Success"
        client.say("brine/tern-hollow/main-level", b"1.5")
        client.close()
        assert "Error" not in log.read_text()


def settled(folder: Path, port: int) -> str:
    """The settings as they are, but for the port and for where the logins lie."""
    papers = folder / "papers"
    papers.mkdir()
    for name, password in PASSWORDS.items():
        add_login(papers / "brineward.passwd", name, password)
    (papers / "brineward.acl").write_text((OURS / "brineward.acl").read_text())
    (papers / "brineward.acl").chmod(0o600)
    settings = (OURS / "brineward.conf").read_text()
    for was, becomes in (
        ("listener 1883 ", f"listener {port} "),
        ("_file /etc/mosquitto/brineward.", f"_file {papers}/brineward."),
    ):
        assert re.search(f"^[^#]*{re.escape(was)}", settings, re.MULTILINE), was
        settings = settings.replace(was, becomes)
    return settings


@pytest.fixture
def secured(tmp_path: Path) -> Iterator[tuple[int, int, Path]]:
    """The settings with TLS, changed as their comments say: plain port, TLS port, authority."""
    authority = trustme.CA()
    host = authority.issue_cert("127.0.0.1")
    plain, tls = free_port(), free_port()
    settings = settled(tmp_path, plain)
    papers = tmp_path / "papers"
    authority.cert_pem.write_to_path(str(papers / "ca.pem"))
    host.cert_chain_pems[0].write_to_path(str(papers / "broker.pem"))
    host.private_key_pem.write_to_path(str(papers / "broker.key"))
    block = settings[settings.index("# Sensors and gateways elsewhere") :]
    settings = settings.replace(block, re.sub(r"^#(?=[a-z_])", "", block, flags=re.MULTILINE))
    for was, becomes in (
        ("listener 8883", f"listener {tls} 127.0.0.1"),
        ("/etc/mosquitto/certs/", f"{papers}/"),
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


def test_a_login_for_one_device_speaks_for_it_alone(secured: tuple[int, int, Path]) -> None:
    """The pump's login says nothing of a tank, and reads nothing."""
    plain, tls, ca = secured
    watchman = Somebody(plain, "brineward", PASSWORDS["brineward"])
    watchman.listen("brine/#")
    pump = Somebody(tls, "tern-hollow-pump", PASSWORDS["tern-hollow-pump"], ca)
    pump.listen("#")
    pump.say("brine/tern-hollow/main-level", b"0.1")
    pump.say("brine/tern-hollow/pump-running", b"1")
    until(lambda: watchman.heard, what="the reading")
    assert watchman.heard == [("brine/tern-hollow/pump-running", b"1")]
    assert pump.heard == []
    watchman.close()
    pump.close()


def test_the_phone_gateway_hands_in_texts_and_does_nothing_else(
    secured: tuple[int, int, Path],
) -> None:
    """brineward hears what it publishes as a text; it speaks for no sensor, and reads nothing, not
    even the texts. No depot's gateway can text for anybody."""
    plain, tls, ca = secured
    watchman = Somebody(plain, "brineward", PASSWORDS["brineward"])
    watchman.listen("brine/#")
    depot = Somebody(tls, "tern-hollow", PASSWORDS["tern-hollow"], ca)
    depot.say("brine/texts/received", b"forged")
    phone = Somebody(tls, "phone-gateway", PASSWORDS["phone-gateway"], ca)
    phone.listen("#")
    phone.say("brine/tern-hollow/main-level", b"0.1")
    phone.say("brine/brineward/brineward/state", b"all well")
    phone.say("brine/texts/received", b"TH3")
    until(lambda: watchman.heard, what="the text")
    assert watchman.heard == [("brine/texts/received", b"TH3")]
    assert phone.heard == []
    for one in (watchman, depot, phone):
        one.close()


def test_a_gateway_cannot_take_over_another_session(
    secured: tuple[int, int, Path], tmp_path: Path
) -> None:
    """A gateway that calls itself by the service's client id, guessed right, is its own login to
    the broker: the service's link is not touched."""
    plain, tls, ca = secured
    (tmp_path / "secret").write_text(PASSWORDS["brineward"])
    settings = settings_for(plain, username="brineward", password=Secret(file=tmp_path / "secret"))
    with linked(settings, ["brine/tern-hollow/main-level"], client_id="brineward-1f") as worker:
        until(lambda: worker.take() is None or worker.subscribed)
        thief = Somebody(tls, "tern-hollow", PASSWORDS["tern-hollow"], ca, "brineward-1f")
        assert thief.answer == "Success"
        thief.say("brine/tern-hollow/main-level", b"1.5")
        worker.take_until(1)
        assert thief.is_connected()
        assert len(worker.changes) == 1
        thief.close()


def test_the_count_of_dropped_messages_may_be_read(
    secured: tuple[int, int, Path], tmp_path: Path
) -> None:
    """With the access list as it is, brineward sees what the broker had to drop."""
    plain, _, _ = secured
    (tmp_path / "secret").write_text(PASSWORDS["brineward"])
    settings = settings_for(plain, username="brineward", password=Secret(file=tmp_path / "secret"))
    with linked(settings) as worker:
        until(lambda: worker.take() or worker.link.broker_dropped is not None)
        assert worker.link.broker_dropped == 0


def test_five_megabytes_are_refused_before_they_take_memory(tmp_path: Path) -> None:
    """Who sends far too much is thrown out; the broker grows by a fraction of it, and goes on."""
    port = free_port()
    with debian_with(tmp_path, settled(tmp_path, port)):
        pid = int((tmp_path / "mosquitto.pid").read_text())
        before = psutil.Process(pid).memory_info().rss
        with socket.create_connection(("127.0.0.1", port)) as sender:
            login = b"\0\x0btern-hollow\0\6gravel"
            sender.sendall(packet(0x10, b"\0\4MQTT\4\xc2\0\x3c\0\1x" + login))
            assert sender.recv(4) == b"\x20\x02\0\0"
            topic = b"brine/tern-hollow/main-level"
            publish = packet(0x30, len(topic).to_bytes(2) + topic + b"x" * 5_000_000)
            sender.settimeout(10)  # the length stands in the first bytes: no need for the last
            with suppress(ConnectionError):
                sender.sendall(publish[:4_000_000])
                assert sender.recv(1) == b"", "it was not thrown out"
            assert psutil.Process(pid).memory_info().rss - before < 1_000_000
        client = Somebody(port, "tern-hollow", PASSWORDS["tern-hollow"])
        assert client.answer == "Success"
        client.close()


def test_the_service_cannot_eat_the_machine() -> None:
    """The unit has an upper bound of memory, many times what the service needs."""
    unit = (OURS.parent / "systemd" / "brineward.service").read_text()
    assert re.search(r"^MemoryMax=\d+M$", unit, re.MULTILINE)
