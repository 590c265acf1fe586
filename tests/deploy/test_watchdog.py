"""Under a played systemd: what hostile payloads and floods there may be, no beat is missed."""

import signal
import time
from pathlib import Path

import pytest

from brokers import Mosquitto, mosquitto
from played_systemd import Managed, unit_of
from services import depot, write_config

__all__ = ["mosquitto"]

pytestmark = pytest.mark.mosquitto

MOST_BYTES = 150_000_000


def test_the_unit_never_gives_up() -> None:
    """It is started again whatever its end was, and however often; its watchdog is a minute."""
    unit = unit_of()
    assert (unit.restart, unit.start_limit, unit.watchdog) == ("always", 0.0, 60.0)
    assert unit.restart_after <= 10.0


def test_costly_payloads_miss_no_beat(tmp_path: Path, mosquitto: Mosquitto) -> None:
    """3,000 payloads of what costs the most to read, with a watchdog of three seconds in place of
    a minute: no beat is missed, one run does it all, and its memory stays within 150 MB."""
    costly = [b"[" * 60_000, b'{"k":' * 12_000, b"9" * 64_000, b"\xa5" * 64_000]
    service = Managed(write_config(tmp_path / "service", mosquitto.port), watchdog=3.0)
    with depot(mosquitto.port) as source:
        service.start_and_wait()
        try:
            for number in range(3_000):
                source.say_bytes("spare-level", costly[number % len(costly)])
                if number % 100 == 0:
                    source.round()
            source.confirmed(120)
            wanted = source.sent[-1][1]
            service.wait_for(lambda: wanted in {at for _, at, _ in service.readings()}, "all", 60)
            service.wait_for(lambda: service.kept.beats, "a beat", 10)
        finally:
            assert service.stop() == 0
    assert (service.kept.aborted, service.kept.starts) == (0, 1)
    assert service.kept.peak_bytes < MOST_BYTES


def test_a_service_that_hangs_is_ended_and_started_again(
    tmp_path: Path, mosquitto: Mosquitto
) -> None:
    """Stopped dead: the watchdog ends it with SIGABRT within its time, and the next run has what
    came meanwhile. (So a missed beat is seen by the test above.)"""
    config = write_config(tmp_path / "service", mosquitto.port)
    service = Managed(config, watchdog=3.0, restart_after=0.0)
    with depot(mosquitto.port) as source:
        service.start_and_wait()
        try:
            service.hit(signal.SIGSTOP)
            source.round()
            end = time.monotonic() + 30
            while len(service.readings()) < len(source.sent) and time.monotonic() < end:
                time.sleep(0.1)
            assert len(service.readings()) == len(source.sent)
        finally:
            service.stop()
    assert service.kept.ends == [-signal.SIGABRT]
    assert service.kept.aborted == 1
