"""The session with a real broker: what is sent while nobody reads, and what is acknowledged."""

import subprocess
import sys
import textwrap

import orjson
import pytest

from brineward.clock import MachineClock
from brineward.link import Link
from brineward.link.embedded import EmbeddedBroker
from brokers import Listener, Mosquitto, published, until
from link.linking import TOPIC, linked, registered, settings_for

PROTOCOLS = pytest.mark.parametrize("protocol", ["5", "3.1.1"])


def numbered(count: int, start: int = 0) -> list[tuple[str, bytes]]:
    return [(TOPIC, b"%d" % number) for number in range(start, start + count)]


def payloads(count: int, start: int = 0) -> list[bytes]:
    return [payload for _, payload in numbered(count, start)]


@PROTOCOLS
@pytest.mark.mosquitto
def test_a_backlog_is_delivered_on_return(mosquitto: Mosquitto, protocol: str) -> None:
    """What is published while the service is away comes when it is back, in order, no gap."""
    settings = settings_for(mosquitto.port, protocol=protocol)
    registered(settings)
    published(mosquitto.port, numbered(1500))
    with linked(settings) as worker:
        worker.take_until(1500, acknowledge=True)
        assert worker.payloads == payloads(1500)
        assert [(change.up, change.gap) for change in worker.changes] == [(True, False)]


@PROTOCOLS
@pytest.mark.mosquitto
def test_what_was_acknowledged_never_comes_again(mosquitto: Mosquitto, protocol: str) -> None:
    """The acknowledged half stays away after a restart; the other half comes again."""
    settings = settings_for(mosquitto.port, protocol=protocol)
    registered(settings)
    published(mosquitto.port, numbered(20))
    with linked(settings) as worker:
        worker.take_until(20)
        worker.link.acknowledge(worker.messages[:12])
    with linked(settings) as worker:
        worker.take_until(8, acknowledge=True)
        published(mosquitto.port, numbered(1, start=99))
        worker.take_until(9, acknowledge=True)
        assert worker.payloads == [*payloads(8, start=12), b"99"]


TAKES_AND_NEVER_ACKNOWLEDGES = textwrap.dedent(
    """
    import sys, time
    from brineward.clock import MachineClock
    from brineward.config.settings import LinkSettings
    from brineward.link import Link, Message
    settings = LinkSettings(port=int(sys.argv[1]), protocol=sys.argv[3])
    link = Link(settings, [sys.argv[2]], MachineClock())
    link.start()
    seen = 0
    while True:
        some = [item for item in link.take(100, 0.1) if isinstance(item, Message)]
        link.acknowledge(some[: max(0, 5 - seen)])
        seen += len(some)
        print(seen, flush=True)
    """
)


@PROTOCOLS
@pytest.mark.mosquitto
def test_killed_before_acknowledging_loses_nothing(mosquitto: Mosquitto, protocol: str) -> None:
    """A service killed with -9 after taking 40 and committing 5 gets the other 35 again."""
    settings = settings_for(mosquitto.port, protocol=protocol)
    registered(settings)
    published(mosquitto.port, numbered(40))
    victim = subprocess.Popen(
        [sys.executable, "-c", TAKES_AND_NEVER_ACKNOWLEDGES, str(mosquitto.port), TOPIC, protocol],
        stdout=subprocess.PIPE,
        text=True,
    )
    assert victim.stdout is not None
    try:
        until(lambda: "40" in victim.stdout.readline().split(), what="40 taken")
        victim.stdout.readline()  # and once round again, so that the five went out
    finally:
        victim.kill()
        victim.wait()
        victim.stdout.close()
    with linked(settings) as worker:
        worker.take_until(35, acknowledge=True)
        assert worker.payloads == payloads(35, start=5)


@pytest.mark.mosquitto
def test_a_retained_message_is_marked_and_a_live_one_is_not(mosquitto: Mosquitto) -> None:
    """Only what lay retained at the broker carries the mark, and it comes once, not on
    every reconnect."""
    published(mosquitto.port, [(TOPIC, b"old")], retain=True)
    settings = settings_for(mosquitto.port)
    with linked(settings) as worker:
        worker.take_until(1, acknowledge=True)
        published(mosquitto.port, [(TOPIC, b"new")], retain=True)
        worker.take_until(2, acknowledge=True)
        assert [(m.payload, m.retained) for m in worker.messages] == [
            (b"old", True),
            (b"new", False),
        ]
    with linked(settings) as worker:
        until(lambda: worker.take() or worker.subscribed)
        published(mosquitto.port, [(TOPIC, b"newer")])
        worker.take_until(1)
        assert worker.payloads == [b"newer"]


@PROTOCOLS
@pytest.mark.mosquitto
def test_topics_no_longer_configured_are_unsubscribed(mosquitto: Mosquitto, protocol: str) -> None:
    """A topic that the last run had and this one has not is taken out of the session with its
    first message, which says what it is; a topic of this run is not touched."""
    settings = settings_for(mosquitto.port, protocol=protocol)
    gone = "brine/tern-hollow/gone"
    registered(settings, [TOPIC, gone])
    published(mosquitto.port, [(gone, b"1"), (TOPIC, b"2")])
    with linked(settings) as worker:
        worker.take_until(2, acknowledge=True)
        published(mosquitto.port, [(TOPIC, b"3")])  # the unsubscription is before it
        worker.take_until(3, acknowledge=True)
        published(mosquitto.port, [(gone, b"4"), (TOPIC, b"5")])
        worker.take_until(4, acknowledge=True)
        assert worker.payloads == [b"1", b"2", b"3", b"5"]
    published(mosquitto.port, [(gone, b"6"), (TOPIC, b"7")])
    with linked(settings) as worker:
        worker.take_until(1)
        assert worker.payloads == [b"7"]


@pytest.mark.mosquitto
def test_what_a_wildcard_brings_is_no_stray(mosquitto: Mosquitto) -> None:
    """Where the topics are a filter, what comes by it goes on coming."""
    with linked(settings_for(mosquitto.port), ["brine/tern-hollow/#"]) as worker:
        until(lambda: worker.take() or worker.subscribed)
        for number in range(3):
            published(mosquitto.port, numbered(1, number))
            worker.take_until(number + 1)
        assert worker.payloads == payloads(3)


@PROTOCOLS
@pytest.mark.mosquitto
def test_the_state_is_seen_by_others(mosquitto: Mosquitto, protocol: str) -> None:
    """Online on connect, stopped on a clean stop."""
    settings = settings_for(mosquitto.port, protocol=protocol)
    other = Listener(mosquitto.port, [settings.state_topic])
    with linked(settings) as worker:
        worker.take_until_change(1)
        until(lambda: other.heard)
    until(lambda: len(other.heard) >= 2)
    other.close()
    states = [orjson.loads(payload) for _, payload, _ in other.heard]
    assert [(s["state"], s["instance"]) for s in states] == [
        ("online", "brineward"),
        ("stopped", "brineward"),
    ]
    assert all(state["time"].endswith("Z") for state in states)
    late = Listener(mosquitto.port, [settings.state_topic])
    until(lambda: late.heard)
    late.close()
    assert orjson.loads(late.heard[0][1])["state"] == "stopped"
    assert late.heard[0][2], "the state is retained"


@pytest.mark.mosquitto
def test_a_service_that_vanishes_leaves_its_will(mosquitto: Mosquitto) -> None:
    """Killed with -9, the broker tells everybody that it is offline."""
    settings = settings_for(mosquitto.port)
    other = Listener(mosquitto.port, [settings.state_topic])
    victim = subprocess.Popen(
        [sys.executable, "-c", TAKES_AND_NEVER_ACKNOWLEDGES, str(mosquitto.port), TOPIC, "5"],
        stdout=subprocess.DEVNULL,
    )
    try:
        until(lambda: other.heard, what="online")
    finally:
        victim.kill()
        victim.wait()
    until(lambda: len(other.heard) >= 2, what="offline")
    other.close()
    assert [orjson.loads(payload)["state"] for _, payload, _ in other.heard] == [
        "online",
        "offline",
    ]


def test_the_embedded_broker_keeps_a_backlog_too(embedded: EmbeddedBroker) -> None:
    """On the laptop too: a backlog comes, unacknowledged ones come again, acknowledged don't."""
    settings = embedded.reached_by(settings_for(1, username="nobody"))
    registered(settings)
    published(embedded.port, numbered(300))
    with linked(settings) as worker:
        worker.take_until(100)
        worker.link.acknowledge(worker.messages[:60])
        worker.take_until(120)
    with linked(settings) as worker:
        worker.take_until(240, acknowledge=True)
        assert worker.payloads == payloads(240, start=60)


def test_a_stop_before_the_first_connection_is_quick() -> None:
    """A link that never met a broker stops at once and was never up."""
    link = Link(settings_for(1), [TOPIC], MachineClock(), first_wait_seconds=30.0)
    link.start()
    until(lambda: link.take(1, 0.1))
    link.stop()
    assert not link._connected
