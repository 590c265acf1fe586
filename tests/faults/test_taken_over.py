"""Another program has the service's client id: the two throw each other out, and it is an alarm."""

from pathlib import Path

import pytest
from paho.mqtt.client import Client, MQTTv5
from paho.mqtt.enums import CallbackAPIVersion

from brineward.journal.session import LinkSession
from brineward.readings.entries import LinkChanged
from brokers import Mosquitto, mosquitto, until
from services import depot, running, same_readings, write_config

__all__ = ["mosquitto"]

pytestmark = pytest.mark.mosquitto

ON_DELAY_SECONDS = 18
"""Longer than the service ever waits before it connects again: no single absence is an alarm."""


def test_a_link_that_is_taken_over_again_and_again_is_an_alarm(
    tmp_path: Path, mosquitto: Mosquitto
) -> None:
    """Each connection lasts a moment and brings next to nothing: the link counts as lost from the
    fourth loss on, and the alarm comes, with the cause in its entry."""
    delays = {"link-lost": (f"{ON_DELAY_SECONDS} s", "1 s")}
    config = write_config(tmp_path / "service", mosquitto.port, delays=delays)
    with depot(mosquitto.port) as source, running(config) as service:
        source.round()
        service.wait_for(lambda: len(service.readings()) > 0, "readings")
        client_id = f"brineward-{LinkSession(service.journal).mark}"
        thief = Client(CallbackAPIVersion.VERSION2, client_id=client_id, protocol=MQTTv5)
        thief.reconnect_delay_set(1, 1)
        thief.connect("127.0.0.1", mosquitto.port)
        thief.loop_start()
        try:
            service.wait_for(
                lambda: "link-lost broker: unacknowledged" in service.log, "the alarm", 90
            )
            entries = [one for one in service.entries() if isinstance(one, LinkChanged)]
        finally:
            thief.disconnect()
            thief.loop_stop()
        since = next(
            number for number, one in enumerate(entries) if "another program may use" in one.why
        )
        assert not any(one.up for one in entries[since:])
        assert f"the client id {client_id!r}" in entries[since].why


def test_nobody_takes_the_session_over_by_the_instance_s_name(
    tmp_path: Path, mosquitto: Mosquitto
) -> None:
    """A client that calls itself by what the config and the state topic show disturbs nobody, and
    a restart finds its own session again, with what waited there."""
    config = write_config(tmp_path / "service", mosquitto.port)
    with depot(mosquitto.port) as source, running(config) as service:
        thief = Client(CallbackAPIVersion.VERSION2, client_id="brineward", protocol=MQTTv5)
        thief.connect("127.0.0.1", mosquitto.port)
        thief.loop_start()
        until(thief.is_connected, what="the other client")
        source.rounds(1.0)
        service.wait_for(lambda: len(service.readings()) >= len(source.sent), "readings")
        assert service.stop() == 0
        source.rounds(1.0)
        source.confirmed()
        service.start_and_wait()
        service.wait_for(lambda: len(service.readings()) >= len(source.sent), "what waited")
        assert thief.is_connected()
        thief.disconnect()
        thief.loop_stop()
        assert service.log.count("session resumed") == 1
        assert "not connected to the broker" not in service.log
        assert service.stop() == 0
        assert same_readings(service.readings(), source.sent)
