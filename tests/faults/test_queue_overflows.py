"""The broker's queue is full while the service is away: what is missing is counted, and told."""

from pathlib import Path

import pytest

from brineward.readings.instants import MINUTE, SECOND
from brineward.readings.outputs import AlarmChanged
from brokers import Mosquitto
from replaying import assert_replays
from services import Running, brineward, depot, now_ms, write_config
from serving import Serving

pytestmark = pytest.mark.mosquitto

ROOM, ROUNDS = 140, 120
AWAY = ROUNDS * 10 * SECOND


def _missing(service: Running) -> list[AlarmChanged]:
    return [one for one in service.alarms() if one.alarm == "readings-missing"]


@pytest.mark.parametrize("room", [ROOM, 2_000_000], ids=["room for a sixth", "room for all"])
def test_what_the_broker_dropped_is_told(tmp_path: Path, room: int) -> None:
    """Twenty minutes away, seven sensors every ten seconds, room for twenty of 120 rounds: about
    100 of each are missing, and from when to when, in the log and in the status; the clocks are
    moved, not the test's time. With room for all nothing is said."""
    broker = Mosquitto(tmp_path / "broker", {"max_queued_messages": str(room)})
    broker.start()
    config = write_config(tmp_path / "service", broker.port)
    try:
        with depot(broker.port) as source:
            first = Serving(config)
            first.start_and_wait()
            source.round()
            first.wait_for(lambda: len(first.readings()) >= len(source.sent), "readings")
            first.stop()
            gone = now_ms()
            for number in range(ROUNDS):
                source.clock_ahead = (number + 1) * 10 * SECOND
                source.round()
            source.confirmed()
            second = Serving(config)
            second.clock.ahead = AWAY + SECOND
            second.start_and_wait()
            for _ in range(14):  # a minute and more, so that what had waited is through
                # A clock that is set by more than ten seconds would make the watch learn again.
                source.clock_ahead += 9 * SECOND
                second.clock.ahead += 9 * SECOND
                source.round()
                source.confirmed()
                last = source.sent[-1][1]
                second.wait_for(lambda last=last: last in {r[1] for r in second.readings()}, "it")
            if room > ROOM:
                assert _missing(second) == []
                assert len(second.readings()) == len(source.sent)
            else:
                (raised,) = second.wait_for(lambda: _missing(second), "the alarm")
                assert raised.value is not None
                lost = len(source.sent) - len(second.readings())
                assert lost > 600
                assert abs(raised.value - lost) <= 14, (raised.value, lost)
                assert abs(raised.time - gone - AWAY) < 3 * MINUTE
                assert f"about {raised.value:.0f}, " in raised.sentence
                assert "main level" in raised.sentence
                assert "readings missing" in brineward("status", str(config)).stdout
            second.stop()
        assert_replays(second)
    finally:
        broker.kill()
