"""Somebody takes an alarm at the command line while the service runs."""

import json
from pathlib import Path

import pytest

from brineward.readings.outputs import AlarmState
from brokers import Mosquitto, mosquitto, until
from gateways import Gateway
from replaying import assert_replays
from services import Running, brineward, depot, now_ms, running, write_config

__all__ = ["mosquitto"]

pytestmark = pytest.mark.mosquitto

NEXT_AFTER_SECONDS = 15


def _state(service: Running) -> AlarmState:
    return service.alarms()[-1].state


def test_taken_at_once_and_nobody_else_is_woken(tmp_path: Path, mosquitto: Mosquitto) -> None:
    """Acknowledged at once, the others told who has it, the calls at an end; status follows."""
    with Gateway() as gateway, depot(mosquitto.port) as source:
        config = write_config(
            tmp_path / "service",
            mosquitto.port,
            gateway=gateway.url,
            next_after=f"{NEXT_AFTER_SECONDS} s",
        )
        file = str(config)
        assert brineward("status", file).returncode == 2, "no journal yet"
        with running(config) as service:
            source.round()
            service.wait_for(service.readings, "readings")
            calm = brineward("status", file)
            assert calm.returncode == 0, calm.stdout

            source.values |= {"pump-running": 1, "hose-valve-open": 0}
            source.rounds(1.5)
            service.wait_for(lambda: len(gateway.asked) == 2, "both people told")
            asked = [asked.json() for asked in gateway.asked]
            assert [text["to"] for text in asked] == ["+15550141", "+15550140"]
            assert all(text["text"].startswith("TH1") for text in asked)
            active = brineward("status", file, "--json")
            assert active.returncode == 1
            assert "closed-valve" in json.dumps(json.loads(active.stdout))

            assert brineward("take", "TH9", "--config", file, "--by", "yard").returncode == 1
            assert brineward("take", "nonsense", "--config", file, "--by", "yard").returncode == 2
            taken = brineward("take", "th1", "--config", file, "--by", "yard")
            assert taken.returncode == 0, taken.stderr
            until(lambda: _state(service) is AlarmState.ACKNOWLEDGED, 30, "the take")
            assert brineward("take", "TH1", "--config", file, "--by", "yard").returncode == 1
            # taken already

            service.wait_for(lambda: len(gateway.asked) == 3, "the others told")
            told = gateway.asked[-1].json()
            assert told["to"] == "+15550140"
            assert "Yard lead has TH1" in told["text"]
            # By then everybody would have been called again, had nobody taken it.
            again = (
                service.ask(lambda r: r.texts.newest(limit=1)[0]).created
                + NEXT_AFTER_SECONDS * 1000
            )
            until(lambda: now_ms() > again + 2000, 20)
            assert len(gateway.asked) == 3
            assert brineward("status", file).returncode == 1, "it still stands"

            source.values |= {"pump-running": 0}
            source.rounds(1.5)
            service.wait_for(lambda: _state(service) is AlarmState.NORMAL, "the end")
            service.wait_for(lambda: len(gateway.asked) == 5, "both told that it is over")
            assert brineward("status", file).returncode == 0
            assert service.stop() == 0
        assert_replays(service)
