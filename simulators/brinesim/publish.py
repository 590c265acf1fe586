"""Play a scenario to an MQTT broker, in real or compressed time."""

import json
import threading
import time
from collections.abc import Callable
from dataclasses import dataclass
from typing import Any, Literal

import paho.mqtt.client as mqtt
from paho.mqtt.enums import CallbackAPIVersion
from paho.mqtt.reasoncodes import ReasonCode

from brinesim.scenario import Scenario
from brinesim.simulation import Simulation
from brinesim.writing import stamps, value_texts

PayloadForm = Literal["object", "number"]
BUNDLE_SECONDS = 0.02
"""Readings due within this much of real time go out together."""
PATIENCE_SECONDS = 60.0
MOST_UNDERWAY = 80
"""Unacknowledged at a time; the broker inside a wheel drops clients at about a hundred."""


class BrokerAwayError(Exception):
    """The broker can't be reached, or doesn't take what is published."""


@dataclass(frozen=True, slots=True, kw_only=True)
class Route:
    """Where and how readings are published."""

    host: str = "127.0.0.1"
    port: int = 1883
    topic: str = "brine/{depot}/{sensor}"
    payload: PayloadForm = "object"
    username: str | None = None
    password: str | None = None
    retain: bool = False
    will: bool = False
    """Announce `online` and leave `offline` as last will on `brine/<depot>/state`."""


@dataclass(frozen=True, slots=True, kw_only=True)
class Played:
    """What a run to the broker came to."""

    readings: int
    seconds: float
    """Real seconds that it took."""


class _Sender:
    """Publishes with a bound on what is not yet acknowledged, through losses of the connection."""

    def __init__(self, client: mqtt.Client) -> None:
        self.sent = 0
        self._acknowledged = 0
        self._client = client
        client.on_publish = self._count

    def _count(self, *_: Any) -> None:
        self._acknowledged += 1

    def send(self, topic: str, body: bytes, *, retain: bool, halt: threading.Event) -> None:
        """Publish one reading; without a connection it is kept and sent after the next one."""
        told = self._client.publish(topic, body, qos=1, retain=retain).rc
        if told not in (mqtt.MQTT_ERR_SUCCESS, mqtt.MQTT_ERR_NO_CONN):
            raise BrokerAwayError(f"the broker took no more: {mqtt.error_string(told)}")
        self.sent += 1
        self.settle(MOST_UNDERWAY, halt)

    def settle(self, underway: int, halt: threading.Event) -> None:
        """Wait until no more than this many are unacknowledged, as long as there is progress."""
        seen, since = self._acknowledged, time.monotonic()
        while self.sent - self._acknowledged > underway and not halt.wait(0.002):
            if self._acknowledged > seen:
                seen, since = self._acknowledged, time.monotonic()
            elif time.monotonic() - since > PATIENCE_SECONDS:
                raise BrokerAwayError(
                    f"the broker has acknowledged nothing for {PATIENCE_SECONDS:.0f} s"
                )


def _connected(route: Route, depot: str) -> mqtt.Client:
    client = mqtt.Client(CallbackAPIVersion.VERSION2, client_id=f"brinesim-{depot}")
    client.max_inflight_messages_set(MOST_UNDERWAY)
    if route.username is not None:
        client.username_pw_set(route.username, route.password)
    if route.will:
        client.will_set(f"brine/{depot}/state", b"offline", qos=1, retain=True)
    up = threading.Event()

    def connected(_c: Any, _u: Any, _f: Any, reason: ReasonCode, _p: Any) -> None:
        if not reason.is_failure:
            up.set()

    client.on_connect = connected
    try:
        client.connect(route.host, route.port, keepalive=60)
    except (OSError, ValueError) as wrong:  # nobody there, or no name of a machine
        raise BrokerAwayError(
            f"no broker at {route.host}:{route.port} ({wrong}); is it running?"
        ) from wrong
    client.loop_start()
    if not up.wait(10):
        client.loop_stop()
        raise BrokerAwayError(f"the broker at {route.host}:{route.port} did not accept us in 10 s")
    if route.will:
        client.publish(f"brine/{depot}/state", b"online", qos=1, retain=True)
    return client


def run_scenario(
    scenario: Scenario,
    route: Route,
    *,
    speed: float = 1.0,
    stop: threading.Event | None = None,
    told: Callable[[dict[str, Any]], None] | None = None,
    shift_ms: int = 0,
    begin_at: float | None = None,
    kept: Callable[[Simulation], None] | None = None,
) -> Played:
    """Publish a scenario's readings, `speed` times as fast as they were measured.

    Readings carry the scenario's own times, moved by `shift_ms`. `stop` ends the run early; `told`
    is given each act (a hydrometer test, ...) when its time has come. A speed of 0 is flat out.
    `begin_at` is when the scenario begins, in seconds since 1970; None for at once. `kept` is
    given the simulation when the run is over, with its truth.

    Raises: BrokerAwayError where the broker can't be reached or stops taking messages.
    """
    halt = stop or threading.Event()
    simulation = Simulation(scenario)
    depot = scenario.depot.id
    topics = [route.topic.format(depot=depot, sensor=name) for name in simulation.sensors]
    client = _connected(route, depot)
    began = time.monotonic() + (begin_at - time.time() if begin_at is not None else 0.0)
    sender = _Sender(client)
    acted = 0
    try:
        for chunk in simulation.chunks():
            arrivals = chunk.arrivals
            bodies = _bodies(simulation, chunk.arrivals, route.payload, shift_ms)
            elapsed_s = ((arrivals.arrived - scenario.start_ms) / 1000).tolist()
            sensors = arrivals.sensor.tolist()
            for at, sensor, body in zip(elapsed_s, sensors, bodies, strict=True):
                acted = _tell(simulation, told, acted, at)
                if not _wait_until(began, at, speed, halt):
                    return Played(readings=sender.sent, seconds=time.monotonic() - began)
                sender.send(topics[sensor], body, retain=route.retain, halt=halt)
        _tell(simulation, told, acted, float("inf"))
        sender.settle(0, halt)
        if kept is not None:
            kept(simulation)
    finally:
        client.disconnect()
        client.loop_stop()
    return Played(readings=sender.sent, seconds=time.monotonic() - began)


def _bodies(simulation: Simulation, arrivals: Any, form: PayloadForm, shift_ms: int) -> list[bytes]:
    texts = value_texts(simulation, arrivals)
    if form == "number":
        return [text.encode() for text in texts]
    times = stamps(arrivals.stamped + shift_ms)
    return [f'{{"value": {v}, "time": "{t}"}}'.encode() for v, t in zip(texts, times, strict=True)]


def _tell(
    simulation: Simulation, told: Callable[[dict[str, Any]], None] | None, acted: int, at: float
) -> int:
    """Hand out the acts whose time has come; returns how many have been handed out in all."""
    while acted < len(simulation.acts) and simulation.act_seconds[acted] <= at:
        if told is not None:
            told(json.loads(json.dumps(simulation.acts[acted])))
        acted += 1
    return acted


def _wait_until(began: float, at: float, speed: float, halt: threading.Event) -> bool:
    """Wait for a reading's turn; False where the run is to end."""
    if speed > 0:
        ahead = began + at / speed - time.monotonic()
        if ahead > BUNDLE_SECONDS:
            return not halt.wait(ahead)
    return not halt.is_set()
