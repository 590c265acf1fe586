"""A flood of hostile payloads between good readings, through a real broker."""

import random
from pathlib import Path

import psutil
import pytest

from brokers import Mosquitto, mosquitto
from replaying import assert_replays
from services import depot, running, same_readings, write_config

__all__ = ["mosquitto"]

pytestmark = pytest.mark.mosquitto

HOSTILE = 12_000
GROWTH_BYTES = 40_000_000


def _hostile(draw: random.Random) -> bytes:
    """Something that is no reading, however kindly it is looked at."""
    fixed = (
        b"",
        b'{"value": 1e999, "time": 1}',
        b'{"value": NaN}',
        b'{"value": "one point five"}',
        b'{"value": 1.5, "time": "yesterday"}',
        b'{"value": 1.5, "value": 1.6}',
        b'[{"n":"x","v":1,"bver":99}]',
        b'[{"n":"x","v":1,"must_":1}]',
        b"{" + b'"k":{' * 2000,
        "\uff11.\uff15 m".encode(),
        b"0x10",
        b"x" * 65_000,
        b"'; DROP TABLE reading; --",
    )
    drawn = (
        b"\xff\xfe" + draw.randbytes(draw.randrange(200)),
        b"[" * draw.randrange(1, 60_000),
        b'{"value":' * draw.randrange(1, 5_000),
        b'{"value": ' + b"9" * draw.randrange(400, 50_000) + b"}",
        b"\x00" * draw.randrange(1, 4_000),
    )
    return draw.choice(fixed + drawn)


def test_good_readings_survive_a_flood_of_rubbish(tmp_path: Path, mosquitto: Mosquitto) -> None:
    """Every good reading kept, every refusal counted, no traceback, memory bounded."""
    draw = random.Random(233)
    config = write_config(tmp_path / "service", mosquitto.port)
    with depot(mosquitto.port) as source, running(config) as service:
        assert service.process is not None
        memory = psutil.Process(service.process.pid).memory_info
        source.round()
        source.confirmed()
        service.wait_for(lambda: len(service.readings()) == len(source.sent), "readings")
        before = memory().rss
        most = before
        for number in range(HOSTILE):
            source.say_bytes("spare-level", _hostile(draw))
            if number % 10 == 0:
                for sensor in ("main-level", "shelter-temperature", "pump-running"):
                    source.say(sensor, source.values[sensor])
            if number % 500 == 0:
                source.confirmed()
                most = max(most, memory().rss)
        source.confirmed(60)
        service.wait_for(
            lambda: len(service.readings()) >= len(source.sent), "every good reading", 120
        )
        most = max(most, memory().rss)
        refused = service.ask(lambda r: r.refusals.counts())
        assert sum(tally.count for tally in refused) == HOSTILE
        assert {tally.sensor for tally in refused} == {"spare-level"}
        assert service.stop() == 0
        assert same_readings(service.readings(), source.sent)
        assert "Traceback" not in service.log
        assert most - before < GROWTH_BYTES, f"{before} to {most} bytes"
    assert_replays(service)
