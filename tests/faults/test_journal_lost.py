"""The journal is deleted or replaced under the running service: noticed, and nothing is lost."""

import shutil
from collections.abc import Callable
from pathlib import Path

import pytest

from brokers import Mosquitto, mosquitto
from replaying import assert_replays
from services import Running, depot, running, write_config

__all__ = ["mosquitto"]

pytestmark = pytest.mark.mosquitto


def _delete(journal: Path) -> None:
    journal.unlink()


def _delete_all(journal: Path) -> None:
    for ending in ("", "-wal", "-shm"):
        journal.with_name(journal.name + ending).unlink()


def _replace(journal: Path) -> None:
    shutil.copy(journal, journal.with_name("copy"))
    journal.with_name("copy").replace(journal)


def _ended(service: Running) -> int | None:
    assert service.process is not None
    return service.process.poll()


@pytest.mark.parametrize("take_away", [_delete, _delete_all, _replace])
def test_a_journal_taken_away_ends_the_run_and_the_next_goes_on(
    tmp_path: Path, mosquitto: Mosquitto, take_away: Callable[[Path], None]
) -> None:
    """It ends with a sentence and a code that has systemd start it again; what came since was not
    acknowledged, so the next run has all of it, and raises what is in it."""
    config = write_config(tmp_path / "service", mosquitto.port)
    with depot(mosquitto.port) as source, running(config) as service:
        source.rounds(1.0)
        source.confirmed()
        service.wait_for(lambda: len(service.readings()) >= len(source.sent), "readings")
        before = len(source.sent)
        take_away(service.journal)
        source.values |= {"pump-running": 1, "hose-valve-open": 0}
        for _ in range(100):
            source.rounds(0.2)
            if _ended(service) is not None:
                break
        assert _ended(service) == 3
        assert "while it was in use" in service.log
        assert "Traceback" not in service.log
        source.confirmed()

        service.start_and_wait()
        source.rounds(2.0)
        source.confirmed()
        fresh = {(sensor, at) for sensor, at, _ in source.sent[before:]}
        service.wait_for(
            lambda: fresh <= {(sensor, at) for sensor, at, _ in service.readings()}, "all since"
        )
        service.wait_for(lambda: "closed-valve" in service.raised(), "the alarm")
        assert service.stop() == 0
    assert_replays(service)


def test_a_write_ahead_file_that_is_lost_is_told(tmp_path: Path, mosquitto: Mosquitto) -> None:
    """A bit flips in its head: SQLite takes the rest for nothing, and finds no damage. The next
    start tells that records are gone, and the watch goes on."""
    config = write_config(tmp_path / "service", mosquitto.port)
    with depot(mosquitto.port) as source, running(config) as service:
        source.rounds(3.0)
        source.confirmed()
        service.wait_for(lambda: len(service.readings()) >= len(source.sent), "readings")
        before = len(source.sent)
        source.rounds(1.0)
        service.kill()
        wal = service.journal.with_name(service.journal.name + "-wal")
        with wal.open("r+b") as file:
            file.seek(16)  # the salt by which a frame is known for this file's
            file.write(bytes(8))
        service.start_and_wait()
        source.round()
        service.wait_for(lambda: "records-damaged" in service.raised(), "the alarm")
        assert len(service.readings()) < before
        (damage,) = (one for one in service.alarms() if one.alarm == "records-damaged")
        assert "entries that were recorded are gone" in damage.sentence
        assert service.stop() == 0
    assert_replays(service)
