"""`brineward drill`: a mock alarm through the real service, the real rota and a real gateway."""

import json
import re
import subprocess
import sys
import threading
import time
from pathlib import Path

import pytest

from brineward.commands.drill import Drilling
from brineward.journal import Journal
from brineward.readings.entries import Tick
from brineward.readings.instants import MINUTE, Instant
from brineward.readings.outputs import AlarmChanged, AlarmState, Priority, Step
from brokers import Mosquitto, mosquitto, until
from depots import DEPOT, START, plan
from driven_clock import DrivenClock
from gateways import Answer, Gateway
from services import depot, running, write_config

__all__ = ["mosquitto"]

pytestmark = pytest.mark.mosquitto

TAKEN = AlarmState.ACKNOWLEDGED


def brineward(*words: str) -> "subprocess.Popen[str]":
    """A command as a program of its own."""
    return subprocess.Popen(
        [sys.executable, "-m", "brineward", *words],
        stdout=subprocess.PIPE,
        stderr=subprocess.STDOUT,
        text=True,
    )


def texts_of(gateway: Gateway) -> list[str]:
    """What phones show."""
    return [json.loads(one.body)["text"] for one in gateway.asked]


def test_a_drill_calls_people_until_one_takes_it_and_tells_what_happened(
    mosquitto: Mosquitto, tmp_path: Path
) -> None:
    """The text is marked; nobody takes it, so the next is called; who takes it is named, with how
    soon and which text failed; at the end the alarm is cleared, and those who were told hear so."""
    with Gateway() as yard, Gateway() as desk:
        yard.usual = Answer(status=400)
        config = write_config(
            tmp_path, mosquitto.port, gateway=yard.url, second_gateway=desk.url, next_after="5 s"
        )
        with depot(mosquitto.port) as source, running(config) as service:
            source.round()
            drill = brineward("drill", str(config), "--for", "60 s")
            (first, *_) = until(lambda: texts_of(desk), 40, "a text to the second person")
            assert "DRILL" in first
            assert "do nothing at the plant" in first
            code = first.split(",")[0].split()[0]
            took = brineward("take", code, "--by", "dispatch", "--config", str(config))
            assert took.wait(20) == 0
            said = drill.communicate(timeout=40)[0]
            assert "Taken by Dispatch desk" in said
            assert "Failed: the text to Yard lead" in said
            assert drill.returncode == 1
            until(
                lambda: (
                    [c.state.value for c in service.alarms() if c.alarm == "drill"][-1:]
                    == ["normal"]
                ),
                20,
                "the end of the drill",
            )


def test_a_drill_that_nobody_takes_ends_by_itself_and_says_so(
    mosquitto: Mosquitto, tmp_path: Path
) -> None:
    """Also where the command is killed in the middle: nobody is called on and on."""
    with Gateway() as gateway:
        config = write_config(tmp_path, mosquitto.port, gateway=gateway.url)
        with depot(mosquitto.port) as source, running(config) as service:
            source.round()
            drill = brineward("drill", str(config), "--for", "6 s")
            said = drill.communicate(timeout=60)[0]
            assert "Nobody took it." in said
            assert drill.returncode == 1
            killed = brineward("drill", str(config), "--for", "5 s")
            until(
                lambda: sum("DRILL" in text and "NOW" in text for text in texts_of(gateway)) >= 2,
                30,
                "a text",
            )
            killed.kill()
            killed.wait(10)
            killed.stdout.close()  # type: ignore[union-attr]  # is a pipe
            end = time.monotonic() + 30

            def over() -> bool:
                states = [c.state.value for c in service.alarms() if c.alarm == "drill"]
                return len(states) >= 4 and states[-1] != AlarmState.UNACKNOWLEDGED.value

            until(over, end - time.monotonic(), "the end of a killed drill")


def test_without_a_service_no_drill_is_held(tmp_path: Path) -> None:
    """Nobody would hear of it: that is said, with code 2."""
    config = write_config(tmp_path, 1)
    drill = brineward("drill", str(config))
    assert drill.communicate(timeout=30)[0] != ""
    assert drill.returncode == 2


def drilled(number: int, state: AlarmState, time: Instant) -> AlarmChanged:
    """What the service says of a drill that the yard takes."""
    return AlarmChanged(
        time=time,
        depot=DEPOT,
        alarm="drill",
        source="depot",
        number=number,
        before=AlarmState.NORMAL,
        state=state,
        priority=Priority.HIGH,
        value=None,
        limit=None,
        unit="",
        sentence="this is a drill",
        by="yard" if state is AlarmState.ACKNOWLEDGED else "",
    )


def test_a_drill_is_seen_though_the_service_counts_by_an_earlier_clock(
    capsys: pytest.CaptureFixture[str],
) -> None:
    """This machine's clock was set on by ten minutes a moment ago, and the service doesn't believe
    that yet: it raises the drill at a time before the command began. An older drill is not taken
    for it."""
    with Journal.open(Path(":memory:")) as journal:

        def keep(*changes: AlarmChanged) -> None:
            journal.commit([Step(Tick(time=changes[-1].time), changes)])

        class Looks(DrivenClock):
            def wait(self, wake: threading.Event, seconds: float) -> bool:
                earlier = self.now() - 10 * MINUTE
                keep(*(drilled(2, s, earlier) for s in (AlarmState.UNACKNOWLEDGED, TAKEN)))
                return super().wait(wake, seconds)

        keep(drilled(1, TAKEN, START - 20 * MINUTE))
        journal.signs_of_life.note(beat=START)
        assert Drilling(plan(), journal, Looks(START / 1000)).hold(30.0) == 0
    assert re.search(
        r"Taken by Yard lead 0 s after the drill began, after (1 text|(0|[2-9]|\d\d) texts)\.",
        capsys.readouterr().out,
    )
