"""The text gateway fails for longer than a text is tried: an alarm, and the next one is told."""

from pathlib import Path

import pytest

from brokers import Mosquitto, mosquitto
from gateways import Answer, Gateway
from replaying import assert_replays
from services import Running, depot, running, write_config

__all__ = ["mosquitto"]

pytestmark = pytest.mark.mosquitto


def test_a_dead_letter_wakes_the_next_person_by_another_way(
    tmp_path: Path, mosquitto: Mosquitto
) -> None:
    """First on call out of reach: the second hears of the alarm at once, and of the failing."""
    with Gateway() as broken, Gateway() as sound:
        broken.usual = Answer(status=503)
        config = write_config(
            tmp_path / "service",
            mosquitto.port,
            gateway=broken.url,
            second_gateway=sound.url,
            give_up_after="2 s",
            next_after="1 h",
        )
        with depot(mosquitto.port) as source, running(config) as service:
            source.values |= {"pump-running": 1, "hose-valve-open": 0}
            source.rounds(2.0)
            service.wait_for(lambda: len(sound.asked) >= 2, "the second person's texts")
            service.wait_for(
                lambda: not service.ask(lambda r: r.texts.newest(state="open")), "all done"
            )
            assert service.raised() == ["closed-valve", "texts-failing"]
            (dead,) = service.ask(lambda r: r.texts.newest(state="dead"))
            assert dead.person == "yard"
            assert dead.attempts >= 2
            texts = [asked.json() for asked in sound.asked]
            assert {text["to"] for text in texts} == {"+15550140"}
            assert sum("closed hose valve" in text["text"] for text in texts) == 1
            assert sum("texts don't reach yard lead" in text["text"].lower() for text in texts) == 1

            # The gateway is well again, and the next text to the first person gets through.
            broken.usual = Answer()
            source.values |= {"spare-level": 9.9}
            source.rounds(2.0)
            service.wait_for(lambda: len(service.raised()) == 3, "another alarm")
            service.wait_for(
                lambda: "texts-failing" not in _unacknowledged(service), "the end of the failing"
            )
            assert service.stop() == 0
        assert_replays(service)


def _unacknowledged(service: Running) -> list[str]:
    active = service.ask(lambda r: r.alarms.active())
    return [a.change.alarm for a in active if a.change.state == "unacknowledged"]
