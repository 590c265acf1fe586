"""Trouble with the broker, the network and ourselves: said, survived, nothing lost."""

import logging
import random
import socket
import threading
from pathlib import Path

import pytest

from brineward.clock import MachineClock
from brineward.link import Link, LinkFailed
from brineward.link.embedded import EmbeddedBroker, NoEmbeddedBroker
from brokers import DEPLOYED, Mosquitto, published, until
from link.linking import TOPIC, Worker, linked, registered, settings_for


def numbered(count: int, start: int = 0) -> list[tuple[str, bytes]]:
    return [(TOPIC, b"%d" % number) for number in range(start, start + count)]


@pytest.mark.mosquitto
def test_a_broker_that_comes_later_is_waited_for(mosquitto: Mosquitto) -> None:
    """At start the broker may be down: that is said once, and it is tried until it is up."""
    mosquitto.stop()
    with linked(settings_for(mosquitto.port)) as worker:
        down = worker.take_until_change(1)
        assert not down.up
        assert f"127.0.0.1:{mosquitto.port}" in down.why
        mosquitto.start()
        assert worker.take_until_change(2).up
        until(lambda: worker.subscribed)
        published(mosquitto.port, numbered(3))
        worker.take_until(3)


@pytest.mark.parametrize("how", ["stop", "kill"])
@pytest.mark.parametrize("protocol", ["5", "3.1.1"])
@pytest.mark.mosquitto
def test_a_broker_restarted_loses_nothing(mosquitto: Mosquitto, how: str, protocol: str) -> None:
    """Stopped or killed with -9 and started again, the broker is found by itself, the topics are
    subscribed, what was not acknowledged comes again and no gap is told of."""
    settings = settings_for(mosquitto.port, protocol=protocol)
    registered(settings)
    published(mosquitto.port, numbered(200))
    with linked(settings) as worker:
        worker.take_until(200)
        worker.link.acknowledge(worker.messages[:100])
        getattr(mosquitto, how)()
        assert not worker.take_until_change(2).up
        mosquitto.start()
        again = worker.take_until_change(3)
        assert (again.up, again.gap) == (True, False)
        until(lambda: worker.take() or worker.subscribed)
        published(mosquitto.port, numbered(50, start=200))
        until(lambda: worker.take() is None or b"249" in worker.payloads)
        assert set(worker.payloads) == {b"%d" % number for number in range(250)}
        old = [message for message in worker.messages if message.token.generation == 1]
        worker.link.acknowledge(old)
        worker.link.acknowledge(m for m in worker.messages if m.token.generation != 1)


@pytest.mark.parametrize("count", [7, 58, 199])
@pytest.mark.mosquitto
def test_a_broker_killed_loses_no_more_than_its_settings_say(
    mosquitto: Mosquitto, count: int
) -> None:
    """With deploy/'s settings, kill -9 costs at most the newest messages that nobody had taken:
    as many as come between two writings of its store."""
    (interval,) = [
        int(line.split()[1])
        for line in DEPLOYED.read_text().splitlines()
        if line.startswith("autosave_interval ")
    ]
    settings = settings_for(mosquitto.port)
    registered(settings, [TOPIC, *(f"brine/tern-hollow/{n}" for n in range(interval))])
    published(mosquitto.port, numbered(count))
    mosquitto.kill()
    mosquitto.start()
    published(mosquitto.port, [(TOPIC, b"after")])
    with linked(settings) as worker:
        until(lambda: worker.take() is None or b"after" in worker.payloads)
        assert not worker.changes[0].gap
        kept = worker.payloads[:-1]
        assert kept == [payload for _, payload in numbered(len(kept))]
        assert len(kept) >= count - interval


@pytest.mark.mosquitto
def test_an_old_acknowledgement_never_hits_a_new_message(mosquitto: Mosquitto) -> None:
    """Packet ids start again after a reconnect; tokens of before are dropped, so that a message
    that nobody committed is not acknowledged in their name."""
    settings = settings_for(mosquitto.port)
    registered(settings)
    published(mosquitto.port, numbered(10))
    with linked(settings) as worker:
        worker.take_until(10)
        first = list(worker.messages)
        mosquitto.stop()
        worker.take_until_change(2)
        mosquitto.start()
        worker.take_until(20)
        second = worker.messages[10:]
        assert {m.token.packet_id for m in first} & {m.token.packet_id for m in second}
        worker.link.acknowledge(first)
    with linked(settings) as worker:
        worker.take_until(10)
        assert worker.payloads == [payload for _, payload in numbered(10)]


@pytest.mark.parametrize("protocol", ["5", "3.1.1"])
@pytest.mark.mosquitto
def test_a_lost_session_is_a_gap(mosquitto: Mosquitto, protocol: str) -> None:
    """A broker that forgot us is noticed: what was sent meanwhile is lost, and that is said."""
    settings = settings_for(mosquitto.port, protocol=protocol)
    registered(settings)
    with linked(settings) as worker:
        assert not worker.take_until_change(1).gap
        mosquitto.stop()
        mosquitto.forget()
        mosquitto.start()
        again = worker.take_until_change(3)
        assert (again.up, again.gap) == (True, True)
        until(lambda: worker.subscribed)
        published(mosquitto.port, numbered(1))
        worker.take_until(1)


@pytest.mark.parametrize("protocol", ["5", "3.1.1"])
@pytest.mark.mosquitto
def test_a_backlog_of_5000_stays_bounded(mosquitto: Mosquitto, protocol: str) -> None:
    """However much waits at the broker, only so much waits in memory, and all of it comes."""
    settings = settings_for(mosquitto.port, protocol=protocol, receive_maximum=100)
    registered(settings)
    published(mosquitto.port, numbered(5000))
    with linked(settings) as worker:
        most = 0
        while len(worker.messages) < 5000:
            most = max(most, worker.link.waiting)
            worker.link.acknowledge(worker.take(timeout_seconds=5.0, most=30))
        assert worker.payloads == [payload for _, payload in numbered(5000)]
        # One read may bring so many more than the bound before it is looked at again.
        assert most <= 2 * settings.receive_maximum + 200


@pytest.mark.mosquitto
def test_a_flood_without_acknowledgement_stops_the_reading(mosquitto: Mosquitto) -> None:
    """QoS 0 knows no window: reading stops at the bound, and goes on when there is room."""
    settings = settings_for(mosquitto.port, receive_maximum=50)
    with linked(settings) as worker:
        worker.take_until_change(1)
        until(lambda: worker.subscribed)
        flood = threading.Thread(target=published, args=(mosquitto.port, numbered(3000)),
                                 kwargs={"qos": 0})  # fmt: skip
        flood.start()
        until(lambda: worker.link.waiting >= 100)
        flood.join()
        assert worker.link.waiting <= 2 * settings.receive_maximum + 200
        worker.take_until(3000)
        assert worker.payloads == [payload for _, payload in numbered(3000)]


@pytest.mark.mosquitto
def test_reading_goes_on_as_soon_as_there_is_room(
    mosquitto: Mosquitto, monkeypatch: pytest.MonkeyPatch
) -> None:
    """Taking wakes a thread that had stopped reading: a hundred stops don't cost a hundred
    waits of a second."""
    monkeypatch.setattr("brineward.link.connection._READ_AT_ONCE", 10)
    with linked(settings_for(mosquitto.port, receive_maximum=10)) as worker:
        until(lambda: worker.subscribed)
        published(mosquitto.port, numbered(3000), qos=0)
        worker.take_until(3000, seconds=30.0)


class WaitCounting(MachineClock):
    """A clock that counts how often it was waited on."""

    waits = 0

    def wait(self, wake: threading.Event, seconds: float) -> bool:
        """Wait as usual."""
        self.waits += 1
        return super().wait(wake, seconds)


@pytest.mark.parametrize("protocol", ["5", "3.1.1"])
@pytest.mark.mosquitto
def test_a_stuck_worker_costs_the_connection_and_nothing_else(
    mosquitto: Mosquitto, protocol: str
) -> None:
    """While the worker is stuck for longer than the keep-alive, the link goes down and stays
    down; once there is room it comes back and brings all that was sent with QoS 1."""
    settings = settings_for(
        mosquitto.port, protocol=protocol, receive_maximum=20, keep_alive_seconds=1
    )
    clock = WaitCounting()
    with linked(settings, clock=clock) as worker:
        until(lambda: worker.subscribed)
        published(mosquitto.port, numbered(100), qos=0)
        published(mosquitto.port, numbered(100, start=100))
        until(lambda: worker.link.waiting >= 40)
        until(lambda: not worker.link._connected, what="down")
        waiting = worker.link.waiting
        assert waiting <= 2 * settings.receive_maximum + 202
        published(mosquitto.port, numbered(50, start=200))
        # It stays away while there is no room: not one more connection in several rounds.
        connections, waits = worker.link._generation, clock.waits
        until(lambda: clock.waits > waits + 5)
        assert (worker.link._generation, worker.link.waiting) == (connections, waiting)
        sent = {b"%d" % number for number in range(100, 250)}

        def all_came() -> bool:
            worker.link.acknowledge(worker.take())
            return sent <= set(worker.payloads)

        until(all_came)
        down = worker.changes[1]
        assert not down.up
        assert "the inbox being full" in down.why


@pytest.mark.mosquitto
def test_a_second_instance_of_the_same_name_is_told_of(mosquitto: Mosquitto) -> None:
    """Two services under one name take the session from each other: the reason says so."""
    settings = settings_for(mosquitto.port)
    with linked(settings) as first, linked(settings) as second:
        first.take_until_change(1)
        second.take_until_change(1)

        def told() -> bool:
            second.take(0.05)
            first.take(0.05)
            return any(
                "another program may use the client id 'brineward'" in c.why for c in first.changes
            )

        until(told)


class BrokenClock(MachineClock):
    """A clock that fails once it is told to, in the midst of taking a message in."""

    broken = False

    def now(self) -> int:
        """The time, or a mistake."""
        if self.broken:
            raise ZeroDivisionError("the clock is broken")
        return super().now()


@pytest.mark.mosquitto
def test_a_mistake_in_the_network_thread_reaches_the_worker(
    mosquitto: Mosquitto, caplog: pytest.LogCaptureFixture
) -> None:
    """A mistake of ours where messages are taken in is logged and raised at the worker, every
    time; it never leaves a link that looks alive and is deaf."""
    clock = BrokenClock()
    link = Link(settings_for(mosquitto.port), [TOPIC], clock)
    link.start()
    worker = Worker(link)
    worker.take_until_change(1)
    until(lambda: worker.subscribed)
    clock.broken = True
    published(mosquitto.port, numbered(1))
    for _ in range(2):
        with pytest.raises(LinkFailed, match="the clock is broken") as raised:
            until(lambda: link.take(10, 1.0))
        assert isinstance(raised.value.__cause__, ZeroDivisionError)
    assert any(record.levelno == logging.CRITICAL for record in caplog.records)
    link.stop()


@pytest.mark.parametrize("seed", range(8))
def test_what_is_no_broker_is_survived(seed: int) -> None:
    """A server that answers with noise is no broker: said, tried again, never the end of us."""
    noise = random.Random(seed)
    answers = [
        b"HTTP/1.1 400 Bad Request\r\n\r\n",
        b"\x20\x02\x00\x00" + noise.randbytes(400),  # a good CONNACK of 3.1.1, then noise
        b"\x20\x03\x00\x00\x00" + noise.randbytes(400),  # a good CONNACK of 5, then noise
        noise.randbytes(400),
    ]
    served = 0
    with socket.create_server(("127.0.0.1", 0)) as server:
        server.settimeout(0.1)
        protocol = "5" if seed % 2 else "3.1.1"
        settings = settings_for(server.getsockname()[1], protocol=protocol, keep_alive_seconds=1)
        with linked(settings, longest_wait_seconds=0.05) as worker:

            def serve() -> bool:
                nonlocal served
                try:
                    caller, _ = server.accept()
                except TimeoutError:
                    return False
                with caller:
                    caller.recv(4096)
                    caller.sendall(answers[served % len(answers)])
                    served += 1
                return served >= 12

            until(serve, 60.0, "twelve connections")
            until(lambda: worker.take() or worker.changes)


def test_a_server_that_says_nothing_is_given_up() -> None:
    """A port that accepts and never answers is left after the keep-alive."""
    with socket.create_server(("127.0.0.1", 0)) as server:
        settings = settings_for(server.getsockname()[1], keep_alive_seconds=1)
        with linked(settings) as worker:
            assert not worker.take_until_change(1).up


@pytest.mark.mosquitto
def test_oversize_messages_cost_bounded_memory(mosquitto: Mosquitto) -> None:
    """What is longer than the broker's limit is refused there, and the good one after it comes."""
    settings = settings_for(mosquitto.port)
    with linked(settings) as worker:
        worker.take_until_change(1)
        until(lambda: worker.subscribed)
        published(mosquitto.port, [(TOPIC, b"x" * 65_537), (TOPIC, b"x" * 65_536)])
        published(mosquitto.port, numbered(1))
        worker.take_until(2)
        assert worker.payloads == [b"x" * 65_536, b"0"]


def test_an_embedded_broker_that_is_not_installed_is_said(
    monkeypatch: pytest.MonkeyPatch,
) -> None:
    """Without the extra, the operator reads what to install."""
    monkeypatch.setitem(__import__("sys").modules, "iotcore", None)
    with pytest.raises(NoEmbeddedBroker, match=r"pip install 'brineward\[laptop\]'"):
        EmbeddedBroker().start()


def test_the_embedded_broker_listens_on_this_machine_only(embedded: EmbeddedBroker) -> None:
    """Nobody on the network reaches the laptop's broker."""
    table = Path("/proc/net/tcp").read_text().splitlines()
    local = [line.split()[1] for line in table if line.split()[3] == "0A"]
    assert f"0100007F:{embedded.port:04X}" in local
    assert f"00000000:{embedded.port:04X}" not in local
