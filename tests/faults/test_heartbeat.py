"""The heartbeat of a real service: to a monitor by HTTP, and to a second service by MQTT."""

import json
import time
from pathlib import Path

import pytest

from brokers import Listener, Mosquitto, mosquitto, until
from gateways import Gateway
from services import depot, running, write_config

__all__ = ["mosquitto"]

pytestmark = pytest.mark.mosquitto

SECRET = "monitor-s3cr3t-47"

SECOND_WATCH = """
[link]
host = "127.0.0.1"
port = {port}
instance = "second"

[journal]
path = "brineward.journal"

[channels.phone]
kind = "file"
path = "phone.jsonl"

[people.desk]
name = "Dispatch desk"
channel = "phone"

[depots.first-watch]
name = "First watch"
short = "FW"
time_zone = "America/Chicago"
on_call = ["desk"]

[depots.first-watch.sensors.alive]
measures = "power"
at = "mains"
topic = "brine/watch/alive"
every = "5 s"
silent_after = "12 s"
"""


def test_the_sign_goes_out_only_while_all_the_way_is_open_and_a_second_watch_misses_it(
    mosquitto: Mosquitto, tmp_path: Path
) -> None:
    """It comes while readings are committed and the gateway is there; it stays away while the
    gateway is away, though the service lives; when the first service is killed the second one, a
    real one elsewhere, texts. The monitor's address is in no log and no journal."""
    with Gateway() as monitor, Gateway() as texts:
        config = write_config(tmp_path / "first", mosquitto.port, gateway=texts.url, every="5 s")
        (config.parent / "beat.url").write_text(f"{monitor.url}/{SECRET}")
        with config.open("a") as file:
            file.write(
                '\n[heartbeat]\nurl = { file = "beat.url" }\ntopic = "brine/watch/alive"\n'
                'every = "5 s"\nanswer_timeout = "3 s"\n'
            )
        second = tmp_path / "second" / "brineward.toml"
        second.parent.mkdir()
        second.write_text(SECOND_WATCH.format(port=mosquitto.port))
        heard = Listener(mosquitto.port, ["brine/watch/alive"])
        with depot(mosquitto.port) as source, running(second) as other, running(config) as service:

            def round_goes_by() -> None:
                source.round()
                time.sleep(1.0)

            until(lambda: (round_goes_by(), monitor.asked)[1], 40, "a sign of life")
            assert SECRET in monitor.asked[0].path
            until(lambda: heard.heard, 10, "a sign by MQTT")
            assert json.loads(heard.heard[-1][1])["value"] == 1
            read = until(
                lambda: other.ask(lambda records: records.readings.latest("first-watch", 2**60)), 15
            )
            assert read["alive"].value == 1.0

            texts.__exit__()  # the gateway is away
            end = time.monotonic() + 8
            while time.monotonic() < end:
                round_goes_by()
            before = len(monitor.asked)
            end = time.monotonic() + 11
            while time.monotonic() < end:
                round_goes_by()
            assert len(monitor.asked) == before, "no sign while no text can leave"
            assert "no channel of anybody on call can be reached" in service.log

            service.kill()
            told = second.parent / "phone.jsonl"
            until(lambda: told.exists() and told.read_text(), 60, "a text of the second watch")
            assert "First watch" in told.read_text()
            assert SECRET not in service.log
            assert SECRET.encode() not in service.journal.read_bytes()
        heard.close()
