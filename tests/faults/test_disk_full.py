"""A full disk under the running service: nothing is acknowledged, nothing is lost, it goes on."""

import os
import time
from pathlib import Path

import pytest

from brineward.readings.entries import ServiceTrouble
from brokers import Mosquitto, mosquitto
from faults.small_disks import fill, small_disk
from gateways import Gateway
from replaying import assert_replays
from services import Running, brineward, depot, running, same_readings, write_config

__all__ = ["mosquitto"]

pytestmark = pytest.mark.mosquitto

_LITTLE_DISK = 'disk_warn = "3 MB"\ndisk_thin = "2 MB"'


def _full(service: Running) -> bool:
    return "the disk is full; make room" in service.log


def test_a_full_disk_is_waited_for(tmp_path: Path, mosquitto: Mosquitto) -> None:
    """While it is full nothing is acknowledged: even killed in it, all comes again, once."""
    with small_disk(tmp_path / "disk", 12) as disk, depot(mosquitto.port) as source:
        config = write_config(disk / "service", mosquitto.port, journal=_LITTLE_DISK)
        with running(config) as service:
            source.rounds(1.0)
            service.wait_for(lambda: len(service.readings()) >= len(source.sent), "readings")
            ballast = fill(disk)
            # The write-ahead file still has room of its own, until it must grow.
            for _ in range(100):
                source.rounds(0.5, every=0.01)
                if _full(service):
                    break
            service.wait_for(lambda: _full(service), "word of the full disk")
            source.values |= {"pump-running": 1, "hose-valve-open": 0}
            source.rounds(1.5)
            source.confirmed()
            assert "Traceback" not in service.log
            service.kill()
            ballast.unlink()
            service.start_and_wait()
            service.wait_for(lambda: len(service.readings()) >= len(source.sent), "all kept")
            source.rounds(1.5)
            source.confirmed()
            service.wait_for(lambda: len(service.readings()) >= len(source.sent), "all kept")
            service.wait_for(service.raised, "the alarm")
            assert service.stop() == 0
            assert service.raised() == ["closed-valve"]
            assert same_readings(service.readings(), source.sent)
            assert_replays(service)


def test_room_made_while_it_waits_is_enough(tmp_path: Path, mosquitto: Mosquitto) -> None:
    """Somebody makes room, and the service goes on by itself, with all that came meanwhile."""
    with small_disk(tmp_path / "disk", 12) as disk, depot(mosquitto.port) as source:
        config = write_config(disk / "service", mosquitto.port, journal=_LITTLE_DISK)
        with running(config) as service:
            ballast = fill(disk)
            for _ in range(100):
                source.rounds(0.5, every=0.01)
                if _full(service):
                    break
            source.confirmed()
            ballast.unlink()
            service.wait_for(lambda: "can be written to again" in service.log, "word of it")
            service.wait_for(lambda: len(service.readings()) >= len(source.sent), "all kept")
            assert service.stop() == 0
            assert same_readings(service.readings(), source.sent)
            assert "Traceback" not in service.log
            assert_replays(service)


def test_stopped_while_the_disk_is_full(tmp_path: Path, mosquitto: Mosquitto) -> None:
    """It ends well within the time that systemd gives it, and says so to the broker."""
    with small_disk(tmp_path / "disk", 12) as disk, depot(mosquitto.port) as source:
        config = write_config(disk / "service", mosquitto.port, journal=_LITTLE_DISK)
        with running(config) as service:
            fill(disk)
            for _ in range(100):
                source.rounds(0.5, every=0.01)
                if _full(service):
                    break
            assert service.stop() == 0
            assert "Traceback" not in service.log


def test_the_reserve_lets_it_go_on(tmp_path: Path, mosquitto: Mosquitto) -> None:
    """The reserve is given up at the first trouble: alarms are raised on, and the log says why."""
    with small_disk(tmp_path / "disk", 48) as disk, depot(mosquitto.port) as source:
        config = write_config(disk / "service", mosquitto.port, journal=_LITTLE_DISK)
        reserve = disk / "service" / "brineward.journal.reserve"
        with running(config) as service:
            service.wait_for(reserve.exists, "the reserve")
            source.rounds(1.0)
            fill(disk)
            for _ in range(100):
                source.rounds(0.5, every=0.01)
                if _full(service):
                    break
            service.wait_for(lambda: "the reserve is released" in service.log, "word of it")
            assert not reserve.exists()
            source.values |= {"pump-running": 1, "hose-valve-open": 0}
            source.rounds(2.0)
            service.wait_for(lambda: "closed-valve" in service.raised(), "the alarm")
            assert service.stop() == 0
            assert "Traceback" not in service.log


def test_started_on_a_full_disk(tmp_path: Path, mosquitto: Mosquitto) -> None:
    """The last run left a reserve: a start on the full disk gives it up, watches, and texts."""
    with (
        small_disk(tmp_path / "disk", 48) as disk,
        Gateway() as gateway,
        depot(mosquitto.port) as source,
    ):
        config = write_config(
            disk / "service", mosquitto.port, gateway=gateway.url, journal=_LITTLE_DISK
        )
        reserve = disk / "service" / "brineward.journal.reserve"
        with running(config) as service:
            service.wait_for(reserve.exists, "the reserve")
            source.rounds(1.0)
            assert service.stop() == 0
            fill(disk)
            service.start_and_wait()
            source.values |= {"pump-running": 1, "hose-valve-open": 0}
            source.rounds(3.0)
            service.wait_for(lambda: gateway.asked, "the text")
            assert not reserve.exists()
            assert "Traceback" not in service.log


def test_little_room_is_said_once(tmp_path: Path, mosquitto: Mosquitto) -> None:
    """Little room at the start is reported as a trouble, and once only."""
    with small_disk(tmp_path / "disk", 12) as disk, depot(mosquitto.port) as source:
        config = write_config(disk / "service", mosquitto.port, journal=_LITTLE_DISK)
        with running(config) as service:
            source.rounds(2.0, every=0.01)
            service.wait_for(lambda: len(service.readings()) >= len(source.sent), "readings")
            service.wait_for(lambda: _troubles(service), "the upkeep's first look at the disk")
            assert service.stop() == 0
        fill(disk)
        os.truncate(disk / "ballast", (disk / "ballast").stat().st_size - 1_900_000)
        with running(config) as service:
            service.wait_for(lambda: _troubles(service)[-1].present, "the trouble")
            sentence = _troubles(service)[-1].sentence
            assert "1 MB left on the journal's disk" in sentence
            assert service.stop() == 0
            assert [trouble.present for trouble in _troubles(service)] == [False, True]


def _troubles(service: Running) -> list[ServiceTrouble]:
    found = (entry for entry in service.entries() if isinstance(entry, ServiceTrouble))
    return [trouble for trouble in found if trouble.trouble == "disk-low"]


def test_texts_leave_before_the_disk_matters(tmp_path: Path, mosquitto: Mosquitto) -> None:
    """Without a reserve and without room: the alarm is texted all the same, as soon as ever, the
    status says what the disk is like, and once there is room the text is on record and not sent
    twice."""
    with (
        small_disk(tmp_path / "disk", 12) as disk,
        Gateway() as gateway,
        depot(mosquitto.port) as source,
    ):
        config = write_config(
            disk / "service", mosquitto.port, gateway=gateway.url, journal=_LITTLE_DISK
        )
        with running(config) as service:
            service.wait_for(lambda: _troubles(service), "the upkeep's first look at the disk")
            ballast = fill(disk)
            for _ in range(500):
                source.rounds(0.1, every=0.02)
                if _full(service):
                    break
            assert _full(service)
            source.values |= {"pump-running": 1, "hose-valve-open": 0}
            end = time.monotonic() + 10
            while not gateway.asked and time.monotonic() < end:
                source.rounds(0.1)
            assert gateway.asked, "no text, though the alarm is active"
            assert service.raised() == [], "nothing of it can be recorded"
            told = brineward("status", str(config))
            assert told.returncode == 1
            assert "THE DISK IS FULL" in told.stdout, told.stdout
            source.confirmed()
            ballast.unlink()
            service.wait_for(lambda: "can be written to again" in service.log, "word of it")
            service.wait_for(lambda: len(service.readings()) >= len(source.sent), "all kept")
            service.wait_for(
                lambda: service.ask(lambda r: r.texts.newest(state="accepted")), "its record"
            )
            source.rounds(2.0)
            assert service.raised() == ["closed-valve"]
            assert len(gateway.asked) == 1
            assert [trouble.present for trouble in _troubles(service)][:3] == [False, True, False]
            assert service.stop() == 0
            assert "Traceback" not in service.log
        assert_replays(service)
