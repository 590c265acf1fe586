"""Real brokers for tests: mosquitto as deploy/ configures it, and the one inside a wheel.

Fixtures: `mosquitto` (started, empty), `embedded` (started). Take them with
`from brokers import mosquitto` in a conftest.py. `published` publishes and waits for the broker's
word; `until` waits for a condition.
"""

import getpass
import shutil
import signal
import socket
import subprocess
import threading
import time
from collections.abc import Callable, Iterable, Iterator, Sequence
from pathlib import Path
from typing import Any

import pytest
from paho.mqtt.client import Client, MQTTMessage
from paho.mqtt.enums import CallbackAPIVersion

from brineward.link.embedded import EmbeddedBroker, free_port

DEPLOYED = Path(__file__).parents[1] / "deploy" / "mosquitto" / "brineward.conf"


def mosquitto_program() -> str:
    """Where mosquitto is; the test is skipped where it is not."""
    found = shutil.which("mosquitto") or shutil.which("mosquitto", path="/usr/sbin:/usr/local/sbin")
    if found is None:
        pytest.skip("needs the broker mosquitto: apt-get install mosquitto")
    return found


def add_login(passwords: Path, name: str, password: str) -> None:
    """Add a login to a file for mosquitto's password_file; the test is skipped without its tool."""
    program = shutil.which("mosquitto_passwd")
    if program is None:
        pytest.skip("needs mosquitto_passwd: apt-get install mosquitto")
    passwords.touch(mode=0o600)
    subprocess.run([program, "-b", passwords, name, password], check=True)


def until(condition: Callable[[], Any], timeout_seconds: float = 15.0, what: str = "") -> Any:
    """Wait until the condition is true and return what it gave; fail once the time is up."""
    deadline = time.monotonic() + timeout_seconds
    while not (found := condition()):
        if time.monotonic() > deadline:
            pytest.fail(f"not within {timeout_seconds} s: {what or condition}")
        time.sleep(0.01)
    return found


class Mosquitto:
    """A mosquitto with the settings of deploy/, on a port and in a directory of its own."""

    def __init__(self, directory: Path, changed: dict[str, str] | None = None) -> None:
        """`changed` replaces or adds settings; "listener" is set by us. Without logins of the
        test's own, anybody is let in."""
        self.host = "127.0.0.1"
        self.port = free_port()
        self.directory = directory
        self._program = mosquitto_program()
        self._process: subprocess.Popen[bytes] | None = None
        self.log = directory / "mosquitto.log"
        (directory / "store").mkdir(parents=True, exist_ok=True)
        self._config = directory / "mosquitto.conf"
        self._config.write_text(self._configured(changed or {}))

    def _configured(self, changed: dict[str, str]) -> str:
        ours = {
            "persistence_location": f"{self.directory / 'store'}/",
            "user": getpass.getuser(),
            "listener": f"{self.port} {self.host}",
            "allow_anonymous": "true",
            "password_file": "",
            "acl_file": "",
            **changed,
        }
        lines = []
        for line in DEPLOYED.read_text().splitlines():
            name = line.split(" ", 1)[0]
            lines.append(f"{name} {ours.pop(name)}" if name in ours else line)
        lines += (f"{name} {value}" for name, value in ours.items())
        return "\n".join([*(line for line in lines if not line.endswith("_file ")), ""])

    def start(self) -> None:
        """Start it and return once it accepts connections."""
        with self.log.open("ab") as log:
            self._process = subprocess.Popen(
                [self._program, "-c", str(self._config)], stdout=log, stderr=log
            )
        until(self._accepts, what=f"mosquitto on port {self.port}: {self.log.read_text()[-500:]}")

    def _accepts(self) -> bool:
        assert self._process is not None
        assert self._process.poll() is None, self.log.read_text()
        with socket.socket() as probe:
            return probe.connect_ex((self.host, self.port)) == 0

    def stop(self) -> None:
        """Stop it as systemd would; it saves what it holds."""
        self._end(signal.SIGTERM)

    def kill(self) -> None:
        """End it with -9, as the kernel or a power cut would."""
        self._end(signal.SIGKILL)

    def forget(self) -> None:
        """Throw away what it has on disk, while it is stopped."""
        for file in (self.directory / "store").iterdir():
            file.unlink()

    def _end(self, how: signal.Signals) -> None:
        if self._process is not None:
            self._process.send_signal(how)
            self._process.wait(10)
            self._process = None


@pytest.fixture
def mosquitto(tmp_path: Path) -> Iterator[Mosquitto]:
    """A started mosquitto with deploy/'s settings and an empty store."""
    broker = Mosquitto(tmp_path / "mosquitto")
    broker.start()
    yield broker
    broker.kill()


@pytest.fixture
def embedded() -> Iterator[EmbeddedBroker]:
    """A started broker from the wheel."""
    with EmbeddedBroker() as broker:
        yield broker


def published(
    port: int,
    messages: Iterable[tuple[str, bytes]],
    *,
    qos: int = 1,
    retain: bool = False,
    login: tuple[str, str] | None = None,
) -> None:
    """Publish these in order, and return once the broker has acknowledged all of them."""
    client = Client(CallbackAPIVersion.VERSION2)
    client.max_inflight_messages_set(1000)
    if login is not None:
        client.username_pw_set(*login)
    client.connect("127.0.0.1", port)
    client.loop_start()
    sent = [client.publish(topic, payload, qos, retain) for topic, payload in messages]
    for info in sent:
        info.wait_for_publish(30)
        assert info.is_published()
    client.disconnect()
    client.loop_stop()


class Listener:
    """Another client that notes what is published, and what is retained."""

    def __init__(self, port: int, topics: Sequence[str]) -> None:
        self.heard: list[tuple[str, bytes, bool]] = []
        self._subscribed = threading.Event()
        self._client = Client(CallbackAPIVersion.VERSION2)
        self._client.on_message = self._on_message
        self._client.on_subscribe = lambda *_: self._subscribed.set()
        self._client.connect("127.0.0.1", port)
        self._client.loop_start()
        self._client.subscribe([(topic, 1) for topic in topics])
        assert self._subscribed.wait(10)

    def _on_message(self, _client: Client, _userdata: Any, message: MQTTMessage) -> None:
        self.heard.append((message.topic, bytes(message.payload), message.retain))

    def close(self) -> None:
        """Leave."""
        self._client.disconnect()
        self._client.loop_stop()
