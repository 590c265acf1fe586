"""A payload that ends the process is found out and set aside; the watch goes on."""

import time
from pathlib import Path

import pytest

from brineward.readings.values import Refusal
from brokers import Mosquitto, mosquitto
from replaying import assert_replays
from services import Running, depot, same_readings, write_config

__all__ = ["mosquitto"]

pytestmark = pytest.mark.mosquitto

MOST_STARTS = 6


def test_a_payload_that_ends_the_watch_is_set_aside(tmp_path: Path, mosquitto: Mosquitto) -> None:
    """Two ends in a batch, one alone, and then it is refused with a sentence: all that came with
    it is kept once, the alarm in it is raised, and the next start takes whole batches again."""
    service = Running(write_config(tmp_path / "service", mosquitto.port))
    service.program = [str(Path(__file__).with_name("deadly_decoder.py"))]
    with depot(mosquitto.port) as source:
        service.start_and_wait()
        try:
            source.rounds(0.5)
            source.values |= {"pump-running": 1, "hose-valve-open": 0}
            source.rounds(0.5)
            source.say_bytes("spare-level", b"DEADLY")
            source.rounds(0.5)
            source.confirmed()
            starts = 1
            while starts <= MOST_STARTS and not _refusals(service):
                assert service.process is not None
                if service.process.poll() is not None:
                    starts += 1
                    service.start()
                time.sleep(0.1)
            assert starts == 4
            source.rounds(1.5)
            source.confirmed()
            service.wait_for(lambda: len(service.readings()) >= len(source.sent), "all kept")
            service.wait_for(lambda: "closed-valve" in service.raised(), "the alarm")
            (refusal,) = _refusals(service)
            assert (refusal.sensor, refusal.reason) == ("spare-level", "set-aside")
            assert "has ended the service again and again" in refusal.sentence
            (tally,) = service.ask(lambda r: r.refusals.counts())
            assert (tally.sensor, tally.reason, tally.count) == ("spare-level", "set-aside", 1)
            assert service.log.count("one at a time") == 2
            assert service.stop() == 0
            assert same_readings(service.readings(), source.sent)
        finally:
            if service.process is not None:
                service.kill()
    assert_replays(service)


def _refusals(service: Running) -> list[Refusal]:
    return [entry for entry in service.entries() if isinstance(entry, Refusal)]
