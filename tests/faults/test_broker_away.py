"""The broker goes and comes back: nobody has to do anything, and it is said how long we were blind.

BRINEWARD_LONG=1 keeps it away for a minute, otherwise for a few seconds.
"""

import os
import re
import threading
import time
from pathlib import Path

import pytest

from brineward.readings.entries import LinkChanged
from brokers import Mosquitto, mosquitto
from replaying import assert_replays
from services import Depot, Running, depot, running, same_readings, write_config

__all__ = ["mosquitto"]

pytestmark = pytest.mark.mosquitto

AWAY_SECONDS = 60.0 if os.environ.get("BRINEWARD_LONG") else 4.0


def _publish_until(source: Depot, stop: threading.Event) -> threading.Thread:
    def publish() -> None:
        while not stop.wait(0.1):
            source.round()

    thread = threading.Thread(target=publish)
    thread.start()
    return thread


def _blind_seconds(service: Running) -> int:
    found = re.findall(r"link back after (\d+) s; the broker kept", service.log)
    return int(found[-1]) if found else -1


def test_a_broker_stopped_and_started_again(tmp_path: Path, mosquitto: Mosquitto) -> None:
    """Reconnected by itself, the gap in the log and in the journal, every reading kept once."""
    stop = threading.Event()
    config = write_config(tmp_path / "service", mosquitto.port)
    with depot(mosquitto.port) as source, running(config) as service:
        thread = _publish_until(source, stop)
        service.wait_for(lambda: len(service.readings()) > 20, "readings")
        mosquitto.stop()
        began = time.monotonic()
        service.wait_for(lambda: "not connected to the broker" in service.log, "word of the loss")
        time.sleep(AWAY_SECONDS)  # what is tested is the length of this
        mosquitto.start()
        service.wait_for(lambda: _blind_seconds(service) >= 0, "word of the return", 90)
        away = time.monotonic() - began
        assert AWAY_SECONDS - 1 <= _blind_seconds(service) <= away + 1
        stop.set()
        thread.join()
        source.confirmed(60)
        service.wait_for(lambda: len(service.readings()) >= len(source.sent), "all kept")
        changes = [e for e in service.entries() if isinstance(e, LinkChanged)]
        assert [change.up for change in changes] == [True, False, True]
        assert changes[-1].why in service.log
        assert service.ask(lambda r: r.service()).link_up
        assert service.stop() == 0
        assert same_readings(service.readings(), source.sent)
    assert_replays(service)


def test_a_broker_killed_with_9_again_and_again(tmp_path: Path, mosquitto: Mosquitto) -> None:
    """What it saved comes again and is no news; at most its newest ten at each kill are gone."""
    stop = threading.Event()
    kills = 3
    config = write_config(tmp_path / "service", mosquitto.port)
    with depot(mosquitto.port) as source, running(config) as service:
        thread = _publish_until(source, stop)
        for kill in range(1, kills + 1):
            # Enough for the broker to have saved our session: it does after ten changes.
            enough = len(service.readings()) + 100
            service.wait_for(lambda enough=enough: len(service.readings()) > enough, "readings")
            mosquitto.kill()
            mosquitto.start()
            service.wait_for(
                lambda kill=kill: service.log.count("link back after") >= kill, "the link", 60
            )
        stop.set()
        thread.join()
        source.confirmed(60)
        source.round()
        source.confirmed(60)
        last = source.sent[-1][1]
        service.wait_for(lambda: any(at == last for _, at, _ in service.readings()), "the last")
        assert service.stop() == 0
        kept = service.readings()
        assert len({(sensor, at) for sensor, at, _ in kept}) == len(kept)
        lost = {(sensor, at) for sensor, at, _ in source.sent} - {(s, at) for s, at, _ in kept}
        assert len(lost) <= 10 * kills
        assert "Traceback" not in service.log
    assert_replays(service)
