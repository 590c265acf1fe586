"""The clock is set while a pump runs against a closed valve: raised in time all the same."""

import time
from pathlib import Path

import pytest

from brineward.readings.entries import ClockStepped
from brineward.readings.instants import DAY, HOUR
from brokers import Mosquitto, mosquitto
from gateways import Gateway
from replaying import assert_replays
from services import depot, same_readings, write_config
from serving import serving

__all__ = ["mosquitto"]

pytestmark = pytest.mark.mosquitto

DELAY_SECONDS = 5.0
SOON_SECONDS = 2.0

STEPS = {"back": -HOUR, "ahead": 400 * DAY}


@pytest.mark.parametrize("way", STEPS)
@pytest.mark.parametrize("dated", [True, False], ids=["own times", "no times"])
def test_a_clock_set_within_the_delay(
    tmp_path: Path, mosquitto: Mosquitto, way: str, dated: bool
) -> None:
    """Set back an hour or ahead 400 days in the middle of the delay: the alarm comes after the
    delay and is texted at once, whether or not readings bring their own times; nothing else is
    raised but the clock itself, and every reading is kept."""
    with Gateway() as gateway, depot(mosquitto.port) as source:
        config = write_config(
            tmp_path / "service",
            mosquitto.port,
            gateway=gateway.url,
            delays={"closed-valve": (f"{DELAY_SECONDS} s", "1 s")},
        )
        with serving(config) as service:

            def rounds(seconds: float) -> None:
                end = time.monotonic() + seconds
                while time.monotonic() < end:
                    if dated:
                        source.round()
                    else:
                        for sensor, value in source.values.items():
                            source.say_bytes(sensor, str(value).encode())
                    time.sleep(0.2)

            # Readings without times show nothing before a connect has settled.
            rounds(1.0 if dated else 12.0)
            source.values |= {"pump-running": 1, "hose-valve-open": 0}
            began = time.monotonic()
            rounds(DELAY_SECONDS / 2)
            service.clock.ahead = STEPS[way]
            while not gateway.asked and time.monotonic() < began + 2 * DELAY_SECONDS:
                rounds(0.2)
            took = time.monotonic() - began
            assert service.raised() == ["closed-valve"]
            assert DELAY_SECONDS - 1.0 < took < DELAY_SECONDS + SOON_SECONDS
            assert gateway.asked[0].json()["text"].startswith("TH1 ")
            source.confirmed()
            rounds(1.0)
            (step,) = [one for one in service.entries() if isinstance(one, ClockStepped)]
            assert abs(step.by - STEPS[way]) < 1_000
            assert service.stop() == 0
            if dated:
                assert same_readings(service.readings(), source.sent)
        assert_replays(service)


def test_texts_are_tried_again_after_the_clock_was_set_back(
    tmp_path: Path, mosquitto: Mosquitto
) -> None:
    """The next attempt stood at a time that is now an hour ahead: it is made all the same."""
    with Gateway() as gateway, depot(mosquitto.port) as source:
        config = write_config(tmp_path / "service", mosquitto.port, gateway=gateway.url)
        with serving(config) as service:
            gateway.usual = type(gateway.usual)(status=503)
            source.values |= {"pump-running": 1, "hose-valve-open": 0}
            source.rounds(2.0)
            service.wait_for(lambda: gateway.asked, "the first attempt")
            service.clock.ahead = -HOUR
            gateway.usual = type(gateway.usual)()
            service.wait_for(
                lambda: service.ask(lambda r: r.texts.newest(state="accepted")), "the text", 15
            )
