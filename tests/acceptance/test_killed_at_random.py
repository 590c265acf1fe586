"""Killed with -9 at random moments of a stream: nothing is lost, nothing is told twice as news.

BRINEWARD_LONG=1 kills 50 times in 60 seconds, otherwise 12 times in 15.
"""

import os
import random
import threading
import time
from collections import Counter
from pathlib import Path

import pytest

from brokers import Mosquitto, mosquitto, until
from gateways import Gateway
from replaying import assert_replays
from services import Depot, Running, depot, now_ms, same_readings, write_config

__all__ = ["mosquitto"]

SECONDS, KILLS = (60.0, 50) if os.environ.get("BRINEWARD_LONG") else (15.0, 12)

# What goes wrong at the depot, by the share of the stream that is over.
_STORY = (
    (0.05, {"pump-running": 1, "hose-valve-open": 0}),
    (0.15, {"shelter-temperature": 99.0}),
    (0.20, {"spare-level": 9.9}),
    (0.25, {"pump-running": 0, "hose-valve-open": 1}),
    (0.30, {"main-level": 2.38}),
    (0.70, {"shelter-temperature": 12.0}),
    (0.75, {"spare-level": 1.2}),
)
_EXPECTED = ["closed-valve", "sensor-implausible", "sensor-implausible", "overflow-ahead"]


def _tell_story(source: Depot, seconds: float) -> None:
    began = time.monotonic()
    story = list(_STORY)
    while (share := (time.monotonic() - began) / seconds) < 1:
        while story and share >= story[0][0]:
            source.values.update(story.pop(0)[1])
        source.round()
        time.sleep(0.1)


def _kill_at_random(service: Running, kills: int, seconds: float, seed: int) -> None:
    """Kills and starts again at once; some kills fall into the start itself."""
    draw = random.Random(seed)
    began = time.monotonic()
    moments = sorted(draw.uniform(0.0, seconds) for _ in range(kills))
    for moment in moments:
        time.sleep(max(0.0, began + moment - time.monotonic()))
        service.kill()
        service.start()


@pytest.fixture(params=["5", "3.1.1"] if os.environ.get("BRINEWARD_LONG") else ["5"])
def protocol(request: pytest.FixtureRequest) -> str:
    """The version of MQTT; the short form tries the usual one only."""
    return str(request.param)


@pytest.mark.mosquitto
def test_killed_at_random_it_keeps_tells_and_concludes_the_same(
    tmp_path: Path, mosquitto: Mosquitto, protocol: str
) -> None:
    """Beside a service that nobody kills: the same readings once each, the same alarms, texts."""
    seed = random.randrange(10**6)
    print(f"seed {seed}")
    with Gateway() as calm_gateway, Gateway() as gateway, depot(mosquitto.port) as source:
        calm = Running(
            write_config(
                tmp_path / "calm",
                mosquitto.port,
                gateway=calm_gateway.url,
                instance="calm",
                protocol=protocol,
            )
        )
        killed = Running(
            write_config(
                tmp_path / "killed",
                mosquitto.port,
                gateway=gateway.url,
                instance="killed",
                protocol=protocol,
            )
        )
        calm.start_and_wait()
        killed.start_and_wait()
        try:
            story = threading.Thread(target=_tell_story, args=(source, SECONDS))
            story.start()
            _kill_at_random(killed, KILLS, SECONDS, seed)
            again = now_ms()
            story.join()
            source.confirmed()
            for service in (calm, killed):
                service.wait_for(
                    lambda service=service: len(service.readings()) >= len(source.sent), "all kept"
                )
                service.wait_for(
                    lambda service=service: not service.ask(lambda r: r.texts.newest(state="open")),
                    "all texts handed over",
                )
            # One that is still starting would be ended by the signal itself, not by its own end.
            killed.wait_for(lambda: (killed.ask(lambda r: r.service().beat) or 0) > again, "a beat")
            until(lambda: calm.alarms() == killed.alarms(), 10, _difference(calm, killed))
            assert calm.stop() == 0
            assert killed.stop() == 0
        finally:
            for service in (calm, killed):
                if service.process is not None:
                    service.kill()

        assert calm.raised() == _EXPECTED
        assert same_readings(calm.readings(), source.sent)
        assert same_readings(killed.readings(), source.sent)
        assert killed.ask(lambda r: r.refusals.conflict_counts()) == []
        _compare_texts(calm, calm_gateway, killed, gateway)
    for service in (calm, killed):
        assert_replays(service)


def _difference(one: Running, other: Running) -> str:
    calm, killed = ({str(change) for change in service.alarms()} for service in (one, other))
    lines = [f"calm: {line}" for line in sorted(calm - killed)]
    lines += [f"killed: {line}" for line in sorted(killed - calm)]
    return "\n".join(["the alarms differ:", *lines])


def _by_ids(service: Running, gateway: Gateway) -> list[dict[str, str]]:
    """What a gateway was asked, each text's id in place of its key."""
    texts = service.ask(lambda r: r.texts.newest(limit=1000))
    ids = {text.key: text.id for text in texts}
    asked = [asked.json() for asked in gateway.asked]
    return [text | {"reference": ids[text["reference"]]} for text in asked]


def _compare_texts(calm: Running, calm_gateway: Gateway, killed: Running, gateway: Gateway) -> None:
    """No text is missing at the gateway; a repeat carries the same key and the same words."""
    once = _by_ids(calm, calm_gateway)
    assert all(count == 1 for count in Counter(text["reference"] for text in once).values())
    asked = _by_ids(killed, gateway)
    by_id = {text["reference"]: text for text in asked}
    assert all(by_id[text["reference"]] == text for text in asked)
    assert by_id == {text["reference"]: text for text in once}
    due = {text.id for text in killed.ask(lambda r: r.texts.newest(limit=1000))}
    assert due == set(by_id)
    assert len({text["text"].split()[0] for text in asked}) == len(_EXPECTED)
    assert calm.ask(lambda r: r.texts.counts())["dead"] == 0
