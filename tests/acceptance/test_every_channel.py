"""From a reading on the broker to a text by each channel, and back by reply, with real parts."""

from pathlib import Path

import pytest

from brineward.link.embedded import free_port
from brineward.readings.outputs import AlarmState
from brokers import Mosquitto, mosquitto, published, until
from many_depots import CHANNELS, calm, danger, other_sides, short, write_config
from services import running

__all__ = ["mosquitto"]

pytestmark = pytest.mark.mosquitto


def test_an_alarm_goes_out_by_every_channel_and_is_taken_by_reply(
    tmp_path: Path, mosquitto: Mosquitto
) -> None:
    """Reading, broker, service, journal, channel: HTTP, mail with TLS and a modem; whoever replies
    by gateway or modem has the alarm, and is told so by the same channel."""
    with other_sides(tmp_path, free_port()) as sides:
        config = write_config(tmp_path / "service", mosquitto.port, sides, list(CHANNELS))
        with running(config) as service:
            for said in (calm, danger):
                for place in range(len(CHANNELS)):
                    published(mosquitto.port, said(place))
            for place, channel in enumerate(CHANNELS):
                code = f"{short(place)}1"
                service.wait_for(lambda code=code: sides.arrivals.first(code), f"{code}: {channel}")
                if channel == "mail":
                    continue
                sides.reply(channel, code)
                service.wait_for(
                    lambda code=code: sides.arrivals.first(code, words="You have"),
                    f"the answer to {code}",
                )
                history = service.ask(
                    lambda records, place=place: records.alarms.history(f"d{place}")
                )
                assert history[-1].state is AlarmState.ACKNOWLEDGED
            until(lambda: service.stop() == 0, what="a good end")
