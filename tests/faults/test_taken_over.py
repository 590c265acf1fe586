"""Another program has the service's client id: the two throw each other out, and it is an alarm."""

from pathlib import Path

import pytest
from paho.mqtt.client import Client, MQTTv5
from paho.mqtt.enums import CallbackAPIVersion

from brineward.readings.entries import LinkChanged
from brokers import Mosquitto, mosquitto
from services import depot, running, write_config

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
        thief = Client(CallbackAPIVersion.VERSION2, client_id="brineward", protocol=MQTTv5)
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
        assert "the client id 'brineward'" in entries[since].why
