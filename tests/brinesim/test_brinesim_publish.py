"""Publishing to a real broker, in compressed time."""

import json
import threading

import pytest
from paho.mqtt.client import Client
from paho.mqtt.enums import CallbackAPIVersion

from brinesim.publish import BrokerAwayError, Route, run_scenario
from brinesim.scenario import load_scenario
from brinesim.simulation import Simulation
from brokers import Listener, until

TEN_MINUTES = {"duration": "10 min"}


def readings_of(run: Simulation) -> int:
    return sum(chunk.arrivals.values.size for chunk in run.chunks())


def test_every_reading_reaches_the_broker_with_its_own_time(embedded) -> None:
    """All readings of ten minutes, as JSON objects on the depot's topics, nothing else."""
    scenario = load_scenario("winter-night", TEN_MINUTES)
    listener = Listener(embedded.port, ["brine/#"])
    played = run_scenario(scenario, Route(port=embedded.port), speed=0)
    expected = readings_of(Simulation(scenario))
    assert played.readings == expected
    until(lambda: len(listener.heard) >= expected)
    listener.close()
    assert len(listener.heard) == expected
    topics = {topic for topic, _, _ in listener.heard}
    assert topics == {
        f"brine/tern-hollow/{name}" for name, one in scenario.sensors.items() if one.fitted
    }
    for _, body, retained in listener.heard:
        found = json.loads(body)
        assert set(found) == {"value", "time"}
        assert found["time"].startswith("2026-01-15T00:0")
        assert not retained


def test_time_is_compressed_by_the_factor(embedded) -> None:
    """Ten minutes at 300 times take about two seconds, and times in the payload stay their own."""
    scenario = load_scenario("winter-night", TEN_MINUTES)
    played = run_scenario(scenario, Route(port=embedded.port), speed=300)
    assert 1.9 <= played.seconds < 60


def test_bare_numbers_and_other_topics(embedded) -> None:
    """The payload can be the number alone, and the topic any pattern."""
    listener = Listener(embedded.port, ["yard/#"])
    route = Route(port=embedded.port, payload="number", topic="yard/{sensor}/now")
    run_scenario(load_scenario("winter-night", {"duration": "1 min"}), route, speed=0)
    until(lambda: any(topic == "yard/main-level/now" for topic, _, _ in listener.heard))
    listener.close()
    for topic, body, _ in listener.heard:
        assert topic.startswith("yard/")
        float(body)


def test_stamps_can_be_moved(embedded) -> None:
    """A shift moves every stamp, so that a night can be played as if it were now."""
    listener = Listener(embedded.port, ["brine/#"])
    scenario = load_scenario("winter-night", {"duration": "1 min"})
    run_scenario(scenario, Route(port=embedded.port), speed=0, shift_ms=86_400_000)
    until(lambda: len(listener.heard) > 50)
    listener.close()
    assert all(json.loads(b)["time"].startswith("2026-01-16T00:0") for _, b, _ in listener.heard)


def test_acts_are_told_in_their_turn(embedded) -> None:
    """The hydrometer test at a quarter past is handed out once, when its time has come."""
    told: list[dict[str, object]] = []
    scenario = load_scenario("winter-night", {"duration": "16 min"})
    run_scenario(scenario, Route(port=embedded.port), speed=0, told=told.append)
    assert [(a["act"], a["time"]) for a in told] == [("test", "2026-01-15T00:15:00Z")]


def test_a_run_can_be_stopped(embedded) -> None:
    """Set the event, and the run ends at once although hours are left."""
    stop = threading.Event()
    ended: list[int] = []

    def play() -> None:
        route = Route(port=embedded.port)
        played = run_scenario(load_scenario("winter-night"), route, speed=1, stop=stop)
        ended.append(played.readings)

    listener = Listener(embedded.port, ["brine/#"])
    thread = threading.Thread(target=play)
    thread.start()
    until(lambda: listener.heard)
    stop.set()
    thread.join(10)
    listener.close()
    assert ended
    assert ended[0] < 500


def test_the_last_will_tells_that_the_gateway_is_gone(embedded) -> None:
    """With a will the state says online, retained; a new listener hears it at once."""
    route = Route(port=embedded.port, will=True)
    run_scenario(load_scenario("winter-night", {"duration": "1 min"}), route, speed=0)
    listener = Listener(embedded.port, ["brine/tern-hollow/state"])
    until(lambda: listener.heard)
    listener.close()
    assert listener.heard[0][1] == b"online"
    assert listener.heard[0][2]


def test_a_missing_broker_is_told_in_a_sentence() -> None:
    """No broker: one error that says where it was looked for."""
    with pytest.raises(BrokerAwayError, match=r"no broker at 127\.0\.0\.1:9"):
        run_scenario(load_scenario("winter-night", TEN_MINUTES), Route(port=9))
    for host in ("", "a..b"):
        with pytest.raises(BrokerAwayError, match="no broker at"):
            run_scenario(load_scenario("winter-night", TEN_MINUTES), Route(host=host))


@pytest.mark.mosquitto
def test_a_broker_that_is_restarted_gets_every_reading(mosquitto) -> None:
    """Stopped and started in the middle of a run, the broker still ends up with all of it."""
    scenario = load_scenario("winter-night", TEN_MINUTES)
    expected = readings_of(Simulation(scenario))
    ended: list[int] = []

    def play() -> None:
        ended.append(run_scenario(scenario, Route(port=mosquitto.port), speed=120).readings)

    # A subscriber with a session, so that the broker keeps for it what it misses.
    heard: set[tuple[str, bytes]] = set()
    subscribed = threading.Event()
    keeper = Client(CallbackAPIVersion.VERSION2, client_id="keeper", clean_session=False)
    keeper.on_message = lambda _c, _u, m: heard.add((m.topic, bytes(m.payload)))
    keeper.on_subscribe = lambda *_: subscribed.set()
    keeper.connect("127.0.0.1", mosquitto.port)
    keeper.loop_start()
    keeper.subscribe("brine/#", 1)
    assert subscribed.wait(10)
    thread = threading.Thread(target=play)
    thread.start()
    until(lambda: len(heard) > 100)
    mosquitto.stop()
    mosquitto.start()
    thread.join(60)
    assert ended == [expected]
    until(lambda: len(heard) >= expected, what=f"{expected} readings")
    assert len(heard) == expected
    keeper.disconnect()
    keeper.loop_stop()
