"""`brineward run` as a program of its own for tests, its config, and a depot that publishes.

Times in payloads are real: a reading that is not close to its arrival is judged as history.
"""

import json
import math
import os
import signal
import subprocess
import sys
import threading
import time
from collections.abc import Callable, Iterator, Mapping
from contextlib import contextmanager
from dataclasses import dataclass, field
from pathlib import Path
from typing import Any

from paho.mqtt.client import Client
from paho.mqtt.enums import CallbackAPIVersion

from brineward.config.load import load_settings
from brineward.journal import Journal
from brineward.readings.entries import Entry
from brineward.readings.outputs import AlarmChanged, AlarmState
from brineward.readings.values import Reading
from brineward.records import Records
from brokers import Listener, until

DEPOT = "tern-hollow"

_PEOPLE = """
[people.yard]
name = "Yard lead"
channel = "phone"
address = "+1 555 0141"

[people.dispatch]
name = "Dispatch desk"
channel = "{second_channel}"
address = "+1 555 0140"
"""

_DEPOT = """
[depots.tern-hollow]
name = "Tern Hollow"
short = "TH"
time_zone = "America/Chicago"
on_call = ["yard", "dispatch"]
next_after = "{next_after}"

[depots.tern-hollow.vessels.main]
kind = "main"
shape = "upright cylinder"
diameter = "2.40 m"
brim = "2.40 m"
fill_mark = "2.20 m"
fill_flow = "0.9 L/s"

[depots.tern-hollow.vessels.spare]
kind = "storage"
shape = "upright cylinder"
diameter = "2.00 m"
brim = "2.40 m"

[depots.tern-hollow.valves.hose-valve]

[depots.tern-hollow.pumps.pump]
draws_from = "main"
flow = "3.6 L/s"
valves = ["hose-valve"]

[depots.tern-hollow.shelter]
"""

_SENSORS = {
    "main-level": ("level", "main", "m", "[0, 2.6]", 0.003),
    "main-conductivity": ("conductivity", "main", "mS/cm", "[0, 400]", 1.0),
    "main-temperature": ("temperature", "main", "degC", "[-40, 60]", 0.2),
    "spare-level": ("level", "spare", "m", "[0, 2.6]", 0.003),
    "pump-running": ("running", "pump", None, None, None),
    "hose-valve-open": ("open", "hose-valve", None, None, None),
    "shelter-temperature": ("temperature", "shelter", "degC", "[-40, 60]", 0.3),
}

CALM: Mapping[str, float] = {
    "main-level": 1.5,
    "main-conductivity": 214.0,
    "main-temperature": 18.0,
    "spare-level": 1.2,
    "pump-running": 0,
    "hose-valve-open": 1,
    "shelter-temperature": 12.0,
}
"""What every sensor says while nothing is wrong."""

DELAYS = {
    "closed-valve": ("1 s", "1 s"),
    "overflow-ahead": ("1 s", "1 s"),
    "sensor-implausible": ("1 s", "1 s"),
}
"""On- and off-delays short enough for a test."""


def topic(sensor: str) -> str:
    """Where a sensor publishes."""
    return f"brine/{DEPOT}/{sensor}"


def now_ms() -> int:
    """UTC now in milliseconds since 1970."""
    return time.time_ns() // 1_000_000


def payload(value: float | None, at: int) -> bytes:
    """A reading with its time, as a gateway publishes it."""
    return json.dumps({"value": value, "time": at}).encode()


def write_config(
    folder: Path,
    port: int,
    *,
    gateway: str = "",
    second_gateway: str = "",
    instance: str = "brineward",
    next_after: str = "10 min",
    give_up_after: str = "30 min",
    delays: Mapping[str, tuple[str, str]] | None = None,
    journal: str = "",
    protocol: str = "5",
    every: str = "10 s",
    silent_after: str = "",
) -> Path:
    """A config file in `folder`; without a gateway the texts go to a file beside it."""
    folder.mkdir(parents=True, exist_ok=True)
    channels = _channel("phone", gateway, give_up_after)
    if second_gateway:
        channels += _channel("desk", second_gateway, give_up_after)
    parts = [
        f'[link]\nhost = "127.0.0.1"\nport = {port}\ninstance = "{instance}"\n',
        f'protocol = "{protocol}"\n',
        f'[journal]\npath = "brineward.journal"\n{journal}\n',
        channels,
        _PEOPLE.format(second_channel="desk" if second_gateway else "phone"),
        _DEPOT.format(next_after=next_after),
        *(_sensor(name, about, every, silent_after) for name, about in _SENSORS.items()),
        *(
            f'[depots.{DEPOT}.alarms.{alarm}]\non_delay = "{on}"\noff_delay = "{off}"\n'
            for alarm, (on, off) in (DELAYS if delays is None else delays).items()
        ),
    ]
    file = folder / "brineward.toml"
    file.write_text("\n".join(parts))
    return file


def _channel(name: str, url: str, give_up_after: str) -> str:
    if not url:
        return f'[channels.{name}]\nkind = "file"\npath = "{name}.jsonl"\n'
    return (
        f'[channels.{name}]\nkind = "http"\nurl = "{url}"\nbody = "json"\n'
        f'give_up_after = "{give_up_after}"\n'
        f'[channels.{name}.fields]\nto = "{{address}}"\ntext = "{{body}}"\nreference = "{{id}}"\n'
    )


def _sensor(
    name: str,
    about: tuple[str, str, str | None, str | None, float | None],
    every: str,
    silent_after: str,
) -> str:
    measures, at, unit, believed, accuracy = about
    lines = [f"[depots.{DEPOT}.sensors.{name}]", f'measures = "{measures}"', f'at = "{at}"']
    if unit is None:
        lines.append("on_change = true")
    else:
        lines += [f'unit = "{unit}"', f"range = {believed}", f"accuracy = {accuracy}"]
    lines.append(f'every = "{every}"')
    if silent_after:
        lines.append(f'silent_after = "{silent_after}"')
    return "\n".join([*lines, ""])


class Running:
    """One `brineward run`, started as often as a test likes; its output grows in one file."""

    def __init__(self, config: Path) -> None:
        self.config = config
        self.journal = config.parent / "brineward.journal"
        self.output = config.parent / "output.log"
        self.process: subprocess.Popen[bytes] | None = None
        self.program = ["-m", "brineward"]
        """What is run by Python."""
        self.environment: dict[str, str] = {}
        """What is added to the environment."""

    @property
    def log(self) -> str:
        """All that it has printed so far."""
        return self.output.read_text(errors="replace") if self.output.exists() else ""

    def start(self) -> None:
        """Start it; returns at once."""
        with self.output.open("ab") as output:
            self.process = subprocess.Popen(
                [sys.executable, *self.program, "run", str(self.config)],
                stdout=output,
                stderr=subprocess.STDOUT,
                env={**os.environ, "PYTHONUNBUFFERED": "1", **self.environment},
            )

    def start_and_wait(self) -> None:
        """Start it and wait until its subscriptions stand: it says `online` only after them."""
        link = load_settings(self.config).link
        listener = Listener(link.port, [link.state_topic])
        try:
            before = len(listener.heard)
            self.start()
            self.wait_for(
                lambda: any(
                    b'"online"' in raw for _, raw, old in listener.heard[before:] if not old
                ),
                "a link",
            )
        finally:
            listener.close()

    def wait_for(self, condition: Callable[[], Any], what: str, seconds: float = 30.0) -> Any:
        """Wait for something while it runs; fails where it ended by itself."""

        def met() -> Any:
            assert self.process is not None
            ended = self.process.poll()
            found = condition()
            assert found or ended is None, f"it ended with {ended}: {self.log[-2000:]}"
            return found

        return until(met, seconds, f"{what}; it printed: {self.log[-1500:]}")

    def kill(self) -> None:
        """End it with -9, wherever it is."""
        self._end(signal.SIGKILL, 10)

    def stop(self) -> int:
        """Stop it as systemd would; its exit code."""
        return self._end(signal.SIGTERM, 20)

    def _end(self, how: signal.Signals, seconds: float) -> int:
        assert self.process is not None
        self.process.send_signal(how)
        code = self.process.wait(seconds)
        self.process = None
        return code

    def look(self, question: Callable[[Journal], Any]) -> Any:
        """Ask its journal something, as another program would."""
        with Journal.open(self.journal, read_only=True) as journal:
            return question(journal)

    def ask(self, question: Callable[[Records], Any]) -> Any:
        """Ask its records something, as another program would."""
        return self.look(lambda journal: question(Records(journal.handle)))

    def entries(self) -> list[Entry]:
        """Every entry in the journal, in order of processing."""
        return list(self.look(lambda journal: list(journal.ordering.entries())))

    def alarms(self) -> list[AlarmChanged]:
        """Every alarm change so far."""
        found: list[AlarmChanged] = self.ask(lambda records: records.alarms.history(DEPOT))
        return found

    def raised(self) -> list[str]:
        """The alarms that were raised so far, in order."""
        return [
            change.alarm for change in self.alarms() if change.state is AlarmState.UNACKNOWLEDGED
        ]

    def readings(self) -> list[tuple[str, int, float | None]]:
        """Every reading in the journal in order of processing, repeats and conflicts included."""
        return [(e.sensor, e.time, e.value) for e in self.entries() if isinstance(e, Reading)]


@contextmanager
def running(config: Path) -> Iterator[Running]:
    """A service for a test, started and connected; ended with the test."""
    service = Running(config)
    service.start_and_wait()
    try:
        yield service
    finally:
        if service.process is not None:
            service.kill()


@dataclass
class Depot:
    """A gateway that publishes a depot's readings with QoS 1, and keeps what is not confirmed."""

    port: int
    sent: list[tuple[str, int, float | None]] = field(default_factory=list)
    """What was published: sensor, time, value."""
    values: dict[str, float | None] = field(default_factory=lambda: dict(CALM))
    """What each sensor says at the next round."""
    clock_ahead: int = -50
    """Its clock against ours in ms; a reading takes a little time to come out of its gateway."""

    def __post_init__(self) -> None:
        self._client = Client(CallbackAPIVersion.VERSION2, client_id=f"gateway-{self.port}")
        self._client.max_inflight_messages_set(100)
        self._client.reconnect_delay_set(1, 1)
        self._connected = threading.Event()
        self._published = self._confirmed = 0
        self._client.on_publish = self._on_confirmed
        self._client.on_connect = lambda *_: self._connected.set()
        self._client.connect("127.0.0.1", self.port)
        self._client.loop_start()
        assert self._connected.wait(10)
        self._last = 0

    def _on_confirmed(self, *_: Any) -> None:
        self._confirmed += 1

    def _publish(self, sensor: str, raw: bytes) -> None:
        # While the broker is away the library keeps it, and sends it after it is back.
        self._client.publish(topic(sensor), raw, 1)
        self._published += 1

    def say(self, sensor: str, value: float | None) -> None:
        """Publish one reading now; times of one depot always rise."""
        self._last = max(self._last + 1, now_ms() + self.clock_ahead)
        self._publish(sensor, payload(value, self._last))
        self.sent.append((sensor, self._last, value))

    def say_bytes(self, sensor: str, raw: bytes) -> None:
        """Publish something that is no reading."""
        self._publish(sensor, raw)

    def round(self) -> None:
        """Every sensor says what it has to say."""
        for sensor, value in self.values.items():
            self.say(sensor, value)

    def rounds(self, seconds: float, every: float = 0.1) -> None:
        """Rounds for so long, real time."""
        end = time.monotonic() + seconds
        while time.monotonic() < end:
            self.round()
            time.sleep(every)

    def confirmed(self, seconds: float = 30.0) -> None:
        """Wait until the broker has confirmed all of it."""
        until(lambda: self._confirmed >= self._published, seconds, "the broker's word for all")

    def close(self) -> None:
        """Leave."""
        self._client.disconnect()
        self._client.loop_stop()


@contextmanager
def depot(port: int) -> Iterator[Depot]:
    """A depot that publishes."""
    gateway = Depot(port)
    try:
        yield gateway
    finally:
        gateway.close()


def si(sensor: str, value: float | None) -> float | None:
    """What the journal holds of a published value: SI."""
    if value is None:
        return None
    if sensor.endswith("conductivity"):
        return value * 0.1
    return float(value)


def same_readings(
    kept: list[tuple[str, int, float | None]], sent: list[tuple[str, int, float | None]]
) -> bool:
    """Is every reading that was sent kept once, with its value, and nothing else?"""
    by_time = {(sensor, at): value for sensor, at, value in kept}
    return len(kept) == len(by_time) == len(sent) and all(
        _close(by_time.get((sensor, at), math.nan), si(sensor, value)) for sensor, at, value in sent
    )


def _close(kept: float | None, sent: float | None) -> bool:
    if kept is None or sent is None:
        return kept is sent
    return math.isclose(kept, sent, rel_tol=1e-9, abs_tol=1e-12)


def brineward(
    *arguments: str, seconds: float = 60.0, **more: Any
) -> subprocess.CompletedProcess[str]:
    """Run one command of brineward to its end."""
    return subprocess.run(
        [sys.executable, "-m", "brineward", *arguments],
        capture_output=True,
        text=True,
        timeout=seconds,
        check=False,
        **more,
    )
