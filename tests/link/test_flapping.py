"""Another program with our client id, a full queue, packets beyond measure: against mosquitto."""

import logging
import tracemalloc
from collections.abc import Iterator
from contextlib import contextmanager
from pathlib import Path

import pytest
from paho.mqtt.client import Client, MQTTv5, MQTTv311
from paho.mqtt.enums import CallbackAPIVersion

from brineward.link.client import fresh_client_id
from brineward.link.cutting import LARGEST_PACKET_BYTES
from brineward.link.dropped import DROPPED_TOPIC
from brineward.link.settling import LOSSES
from brokers import Listener, Mosquitto, published, until
from link.linking import TOPIC, linked, registered, settings_for

pytestmark = pytest.mark.mosquitto

PROTOCOLS = pytest.mark.parametrize("protocol", ["5", "3.1.1"])


@contextmanager
def another(port: int, client_id: str, protocol: str = "5") -> Iterator[Client]:
    """Another program under this client id, that connects again whenever it is thrown out."""
    version = MQTTv5 if protocol == "5" else MQTTv311
    client = Client(CallbackAPIVersion.VERSION2, client_id=client_id, protocol=version)
    client.reconnect_delay_set(0.05, 0.05)  # type: ignore[arg-type]
    client.connect("127.0.0.1", port)
    client.loop_start()
    try:
        yield client
    finally:
        client.disconnect()
        client.loop_stop()


@PROTOCOLS
def test_a_link_that_is_taken_over_again_and_again_stays_down(
    mosquitto: Mosquitto, protocol: str, monkeypatch: pytest.MonkeyPatch
) -> None:
    """Somebody connects with our client id: after a few losses the link is down to stay, whatever
    connects, and says how often it was lost and why that may be; it is up again once it stays."""
    monkeypatch.setattr("brineward.link.settling.SETTLED_SECONDS", 1.5)
    monkeypatch.setattr("brineward.link.link._FLAPPING_AGAIN_SECONDS", 0.5)
    settings = settings_for(mosquitto.port, protocol=protocol)
    with linked(settings) as worker:
        assert worker.take_until_change(1).up
        with another(mosquitto.port, "brineward", protocol):
            generation = worker.link._generation
            until(lambda: worker.take() or worker.link._generation > generation + 15)
            ups = [number for number, change in enumerate(worker.changes) if change.up]
            downs = worker.changes[ups[-1] + 1 :]
            assert len(ups) <= LOSSES
            assert len(downs) >= 2, "it is said again, with the count of now"
            assert "the link was lost 4 times in 1 minute; another program may use the" in (
                downs[0].why
            )
            assert not any(change.up for change in downs)
        count = len(worker.changes)
        back = worker.take_until_change(count + 1)
        while not back.up:  # the last word on the losses may have been on its way
            count += 1
            back = worker.take_until_change(count + 1)
        assert "steady again" in back.why or back.gap


def test_what_comes_while_the_link_flaps_is_handed_on(mosquitto: Mosquitto) -> None:
    """Messages of the short connections between are not thrown away."""
    settings = settings_for(mosquitto.port)
    with linked(settings) as worker:
        worker.take_until_change(1)
        with another(mosquitto.port, "brineward"):
            generation = worker.link._generation
            until(lambda: worker.take() or worker.link._generation > generation + LOSSES + 2)
        until(lambda: worker.take() or worker.subscribed)
        published(mosquitto.port, [(TOPIC, b"1")])
        worker.take_until(1, acknowledge=True)
        assert not worker.changes[-1].up


@PROTOCOLS
def test_a_client_id_that_nobody_knows_is_not_taken_over(
    mosquitto: Mosquitto, protocol: str
) -> None:
    """With an id of its own the link is not touched by a program named like the instance, and the
    session is found again by that id."""
    ours = fresh_client_id("brineward")
    assert ours != fresh_client_id("brineward")
    assert len(ours) <= 23
    settings = settings_for(mosquitto.port, protocol=protocol)
    with (
        linked(settings, client_id=ours) as worker,
        another(mosquitto.port, "brineward", protocol) as stranger,
    ):
        worker.take_until_change(1)
        until(stranger.is_connected)
        until(lambda: worker.subscribed)
        published(mosquitto.port, [(TOPIC, b"1")])
        worker.take_until(1, acknowledge=True)
        assert len(worker.changes) == 1
    published(mosquitto.port, [(TOPIC, b"2")])
    with linked(settings, client_id=ours) as worker:
        worker.take_until(1)
        assert (worker.payloads, worker.changes[0].gap) == ([b"2"], False)


def brokers(directory: Path, **changed: str) -> Iterator[Mosquitto]:
    """A mosquitto with other settings."""
    broker = Mosquitto(directory / "mosquitto", changed)
    broker.start()
    yield broker
    broker.kill()


@pytest.fixture
def narrow(tmp_path: Path) -> Iterator[Mosquitto]:
    """A mosquitto whose queue holds a hundred messages, and that says each second what it drops."""
    yield from brokers(tmp_path, max_queued_messages="100", sys_interval="1")


def test_what_a_full_queue_dropped_is_said(
    narrow: Mosquitto, caplog: pytest.LogCaptureFixture
) -> None:
    """A thousand confirmed readings came while nobody read, and the queue held a hundred: the
    rest is said with its number, in an entry and as an error of the log."""
    settings = settings_for(narrow.port)
    registered(settings)
    published(narrow.port, [(TOPIC, b"%d" % number) for number in range(1000)])
    with linked(settings, broker_dropped=0) as worker:
        remark = worker.take_until_change(2)
        assert remark.up
        assert "the broker dropped" in remark.why
        assert "readings may be lost: see max_queued_messages" in remark.why
        said = int(remark.why.split("dropped ")[1].split()[0])
        assert said == 900
        assert worker.link.broker_dropped == said
    assert any(r.levelno == logging.ERROR and r.message == remark.why for r in caplog.records)


def test_what_was_dropped_before_our_time_is_no_news(narrow: Mosquitto) -> None:
    """A first run takes the broker's count as it finds it, and keeps it for the next."""
    other = settings_for(narrow.port, instance="other")
    registered(other)
    published(narrow.port, [(TOPIC, b"%d" % number) for number in range(1000)])
    count = Listener(narrow.port, [DROPPED_TOPIC])
    until(lambda: count.heard and count.heard[-1][1] == b"900", what="the broker's count")
    count.close()
    with linked(settings_for(narrow.port)) as worker:
        until(lambda: worker.take() or worker.link.broker_dropped)
        assert len(worker.changes) == 1
        kept = worker.link.broker_dropped
    with linked(settings_for(narrow.port), broker_dropped=kept) as worker:
        worker.take_until_change(1)
        published(narrow.port, [(TOPIC, b"1")])
        worker.take_until(1)
        assert len(worker.changes) == 1


@pytest.fixture
def careless(tmp_path: Path) -> Iterator[Mosquitto]:
    """A mosquitto that takes packets of any length."""
    yield from brokers(tmp_path, message_size_limit="0", max_packet_size="6000000")


def test_what_is_far_too_long_is_cut_and_does_not_come_again(careless: Mosquitto) -> None:
    """MQTT 3.1.1 has no word for "no more than so much": of a message of 5 MB the beginning
    comes, more than any payload that is read; acknowledged, it is gone, and the next one comes."""
    settings = settings_for(careless.port, protocol="3.1.1")
    registered(settings)
    published(careless.port, [(TOPIC, b"x" * 5_000_000)] * 5 + [(TOPIC, b"1")])
    with linked(settings) as worker:
        tracemalloc.start()
        worker.take_until(6, acknowledge=True)
        peak = tracemalloc.get_traced_memory()[1]
        tracemalloc.stop()
        lengths = [len(payload) for payload in worker.payloads]
        assert lengths == [LARGEST_PACKET_BYTES - len(TOPIC) - 4] * 5 + [1]
        assert peak < 6_000_000
    with linked(settings) as worker:
        worker.take_until_change(1)
        published(careless.port, [(TOPIC, b"2")])
        worker.take_until(1)
        assert worker.payloads == [b"2"]


def test_with_mqtt_5_the_broker_keeps_what_is_too_long(careless: Mosquitto) -> None:
    """We say how much we take, and the broker sends no more: the next one comes, the link stays."""
    with linked(settings_for(careless.port)) as worker:
        until(lambda: worker.take() or worker.subscribed)
        published(careless.port, [(TOPIC, b"x" * 5_000_000), (TOPIC, b"1")])
        worker.take_until(1)
        assert worker.payloads == [b"1"]
        assert len(worker.changes) == 1
