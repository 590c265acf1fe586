"""Numbers at the end of what a number can be: judged as nonsense, never as a reason to end."""

from pathlib import Path

import pytest

from brokers import Mosquitto, mosquitto
from replaying import assert_replays
from services import CALM, depot, running, same_readings, write_config

__all__ = ["mosquitto"]

pytestmark = pytest.mark.mosquitto

HUGE = (1e308, -1e308, 1.7976931348623157e308, 5e-324, -5e-324, 1e200)


def test_values_that_no_sensor_has(tmp_path: Path, mosquitto: Mosquitto) -> None:
    """From every sensor in turn: all are kept, the service goes on, a pump against a closed valve
    is raised in the middle of them, and a replay says the same."""
    config = write_config(tmp_path / "service", mosquitto.port)
    with depot(mosquitto.port) as source, running(config) as service:
        source.rounds(0.5)
        for value in HUGE:
            for sensor in CALM:
                source.say(sensor, value)
                source.say(sensor, CALM[sensor])
        for sensor in CALM:
            for value in HUGE:
                source.say(sensor, value)
        source.values |= {"pump-running": 1, "hose-valve-open": 0}
        source.values["shelter-temperature"] = 1e308
        source.rounds(3.0)
        source.confirmed()
        service.wait_for(lambda: "closed-valve" in service.raised(), "the alarm")
        assert service.stop() == 0
        assert "Traceback" not in service.log
        refused = {tally.sensor for tally in service.ask(lambda r: r.refusals.counts())}
        kept = [one for one in service.readings() if one[0] not in refused]
        assert same_readings(kept, [one for one in source.sent if one[0] not in refused])
        assert refused <= {"pump-running", "hose-valve-open"}
    assert_replays(service)
