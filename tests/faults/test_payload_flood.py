"""Payloads as large as they may be, all at once, while a pump runs against a closed valve."""

import json
from pathlib import Path

import pytest

from brineward.readings.instants import SECOND
from brineward.readings.outputs import AlarmState
from brokers import Mosquitto, mosquitto
from replaying import assert_replays
from services import DEPOT, depot, now_ms, running, same_readings, write_config

__all__ = ["mosquitto"]

pytestmark = pytest.mark.mosquitto

DELAY_SECONDS = 5
SOON = 2 * SECOND
JUNK = 400
PACKS = 12


def _pack(records: int, end: int) -> bytes:
    """A SenML pack of readings 1 ms apart, the last of them now."""
    base = {"bn": f"{DEPOT}/spare-level", "bu": "m", "bt": end / SECOND}
    values = [{"v": 1, "t": -number / SECOND} for number in reversed(range(records))]
    values[0] |= base
    return json.dumps(values, separators=(",", ":")).encode()


def test_a_closed_valve_in_a_flood_is_raised_in_time(tmp_path: Path, mosquitto: Mosquitto) -> None:
    """400 of 64 KB junk, 12 packs of 2,700 readings and 12 of 400: the alarm comes within its
    delay and two seconds of the engine's time, and is known here as soon; every good reading
    is kept, and each payload that is too large is counted."""
    config = write_config(
        tmp_path / "service", mosquitto.port, delays={"closed-valve": (f"{DELAY_SECONDS} s", "1 s")}
    )
    with depot(mosquitto.port) as source, running(config) as service:
        source.rounds(1.0)
        source.confirmed()
        service.wait_for(lambda: len(service.readings()) >= len(source.sent), "readings")
        source.values |= {"pump-running": 1, "hose-valve-open": 0}
        source.round()
        began = source.sent[-1][1]
        for number in range(JUNK):
            source.say_bytes("main-temperature", b"\xa5" * 64_000)
            if number % 20 == 0:
                source.round()
            if number % (JUNK // PACKS) == 0:
                source.say_bytes("spare-level", _pack(2_700, now_ms()))
                source.say_bytes("spare-level", _pack(400, now_ms()))
        while now_ms() < began + DELAY_SECONDS * SECOND + SOON:
            source.rounds(0.2)
        source.confirmed()
        service.wait_for(lambda: "closed-valve" in service.raised(), "the alarm", 10)
        (raised,) = (
            change
            for change in service.alarms()
            if change.alarm == "closed-valve" and change.state is AlarmState.UNACKNOWLEDGED
        )
        assert raised.time <= began + DELAY_SECONDS * SECOND + SOON
        service.wait_for(
            lambda: (
                {(s, at) for s, at, _ in source.sent}
                <= {(s, at) for s, at, _ in service.readings()}
            ),
            "every good reading",
            60,
        )
        counts = service.ask(lambda r: r.refusals.counts())
        assert sum(one.count for one in counts if one.sensor == "main-temperature") == JUNK
        assert sum(one.count for one in counts if one.sensor == "spare-level") >= PACKS
        assert service.stop() == 0
        others = [one for one in service.readings() if one[0] != "spare-level"]
        assert same_readings(others, [one for one in source.sent if one[0] != "spare-level"])
        assert "Traceback" not in service.log
    assert_replays(service)
