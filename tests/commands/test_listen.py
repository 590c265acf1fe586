"""`brineward listen`: what comes and how it is read, against real brokers, beside a service."""

import os
import signal
import subprocess
import sys
import threading
from collections.abc import Iterator
from contextlib import contextmanager
from pathlib import Path

import pytest

from brineward.commands import listen
from brineward.commands.listen_lines import Heard
from brineward.commands.main import main
from brineward.config.load import load_settings
from brineward.link.embedded import EmbeddedBroker, free_port
from brineward.link.messages import Message, Token
from brokers import Mosquitto, embedded, mosquitto, published, until
from link.linking import linked
from services import now_ms, payload, topic, write_config

__all__ = ["embedded", "mosquitto"]


class Listening:
    """The command as a program of its own."""

    def __init__(self, config: Path, *words: str) -> None:
        self._output = config.with_suffix(".out")
        with self._output.open("wb") as output:
            self.process = subprocess.Popen(
                [sys.executable, "-m", "brineward", "listen", str(config), *words],
                stdout=output,
                stderr=subprocess.STDOUT,
                env={**os.environ, "PYTHONUNBUFFERED": "1"},
            )

    @property
    def out(self) -> str:
        """All that it has printed."""
        return self._output.read_text()

    def interrupted(self) -> int:
        """As with Ctrl-C; the exit code."""
        self.process.send_signal(signal.SIGINT)
        return self.process.wait(20)


@contextmanager
def listening(config: Path, *words: str) -> Iterator[Listening]:
    """The command, running; killed at the end where it has not ended by itself."""
    program = Listening(config, *words)
    try:
        yield program
    finally:
        program.process.kill()
        program.process.wait()


def spoken(port: int) -> None:
    """A reading, one with its own time, a refusal, a switch, and two topics of no sensor."""
    published(
        port,
        [
            (topic("main-level"), payload(1.5, now_ms() - 12_000)),
            (topic("spare-level"), b"99"),
            (topic("main-temperature"), b"warm\x1b[2J"),
            (topic("hose-valve-open"), b"1"),
            ("brine/tern-hollow/gate", b"shut"),
            ("brine/kettle-ridge/main-level", b"1"),
        ],
    )


def assert_all_shown(out: str) -> None:
    """Each of what was spoken is shown as it is read, the other depot's not at all."""
    assert "tern-hollow/main-level           1.50 m, good, measured " in out
    assert "12 s ago)" in out
    assert "99.00 m, good, outside the range that is believed, timed by its arrival" in out
    assert "REFUSED: tern-hollow main-temperature: 'warm\\x1b[2J' came; expected a number in" in out
    assert "hose-valve-open      open, good, timed by its arrival" in out
    assert "brine/tern-hollow/gate  no sensor of the config has this topic ('shut' came)" in out
    assert "kettle-ridge" not in out
    assert "\x1b" not in out


@pytest.mark.mosquitto
@pytest.mark.parametrize("protocol", ["5", "3.1.1"])
def test_what_comes_is_shown_and_a_service_is_not_disturbed(
    tmp_path: Path, mosquitto: Mosquitto, protocol: str
) -> None:
    """Each payload is shown as it is read, until Ctrl-C; the service beside it keeps its session
    and gets all of it, and nothing is kept at the broker or on the disk."""
    config = write_config(tmp_path, mosquitto.port, protocol=protocol)
    settings = load_settings(config)
    published(mosquitto.port, [(topic("shelter-temperature"), b"12")], retain=True)
    topics = [source.topic for source in settings.sources]
    with linked(settings.link, topics) as worker, listening(config) as program:
        until(lambda: worker.take() is None or worker.subscribed)
        until(lambda: "shelter-temperature" in program.out, what="the retained one")
        retained = next(line for line in program.out.splitlines() if "shelter-temp" in line)
        assert "12.0 C, good, timed by its arrival, RETAINED: stored by the broker" in retained
        spoken(mosquitto.port)
        until(lambda: "hose-valve-open" in program.out and "gate" in program.out)
        assert program.interrupted() == listen.DONE
        assert_all_shown(program.out)
        assert program.out.count("RETAINED") == 1
        assert "6 messages: 4 readings, 1 refused, 1 on topics of no sensor." in program.out
        assert "Nothing read from tern-hollow/main-conductivity, tern-hollow/main-" in program.out
        worker.take_until(5, acknowledge=True)
        assert len(worker.changes) == 1
    assert sorted(file.name for file in tmp_path.iterdir()) == [
        "brineward.out",
        "brineward.toml",
        "mosquitto",
    ]


def test_the_laptops_broker_is_listened_to_too(tmp_path: Path, embedded: EmbeddedBroker) -> None:
    """With the embedded broker the same is shown, and --for ends it by itself."""
    config = write_config(tmp_path, embedded.port, protocol="3.1.1")
    with listening(config, "--for", "4 s") as program:
        until(lambda: "Listening for 4 s on brine/tern-hollow/#" in program.out)

        def shown() -> bool:
            spoken(embedded.port)
            return "gate" in program.out

        until(shown)
        assert program.process.wait(20) == listen.DONE
        assert_all_shown(program.out)


@pytest.mark.mosquitto
def test_another_filter_and_nothing_to_hear(
    tmp_path: Path, mosquitto: Mosquitto, capsys: pytest.CaptureFixture[str]
) -> None:
    """--topic listens elsewhere; where nothing comes in the time, that is the answer."""
    config = write_config(tmp_path, mosquitto.port)
    code = main(["listen", str(config), "--topic", "elsewhere/+", "--for", "0.5 s"])
    assert code == listen.NOTHING_CAME
    out = capsys.readouterr().out
    assert "Listening for 0.5 s on elsewhere/+" in out
    assert "0 messages: 0 readings, 0 refused, 0 on topics of no sensor." in out


def test_a_broker_that_is_not_there_is_said(
    tmp_path: Path, capsys: pytest.CaptureFixture[str]
) -> None:
    """No broker, no waiting: where it was looked for, and exit code 2."""
    port = free_port()
    config = write_config(tmp_path, port)
    assert main(["listen", str(config), "--for", "60 s"]) == listen.FAILED
    assert f"no way to 127.0.0.1:{port}" in capsys.readouterr().err


@pytest.mark.mosquitto
def test_a_filter_that_is_none_is_said(
    tmp_path: Path, mosquitto: Mosquitto, capsys: pytest.CaptureFixture[str]
) -> None:
    """A # in the midst is no filter: said, not a traceback."""
    config = write_config(tmp_path, mosquitto.port)
    assert main(["listen", str(config), "--topic", "a/#/b", "--for", "5 s"]) == listen.FAILED
    assert "can't listen on a/#/b" in capsys.readouterr().err


@pytest.mark.mosquitto
def test_a_broker_that_comes_back_is_listened_to_again(
    tmp_path: Path, mosquitto: Mosquitto
) -> None:
    """A lost connection is said, and taken up again."""
    config = write_config(tmp_path, mosquitto.port)
    with listening(config) as program:

        def shown() -> bool:
            published(mosquitto.port, [(topic("spare-level"), b"1")])
            return "spare-level" in program.out

        until(shown)
        mosquitto.stop()
        until(lambda: "the connection was lost" in program.out)
        mosquitto.start()
        count = program.out.count("spare-level")

        def shown_again() -> bool:
            published(mosquitto.port, [(topic("spare-level"), b"1")])
            return program.out.count("spare-level") > count

        until(shown_again)
        assert program.interrupted() == listen.DONE


@pytest.mark.parametrize("span", ["0 s", "-3 s", "soon", "5 m"])
def test_a_time_that_is_none_is_refused(span: str, capsys: pytest.CaptureFixture[str]) -> None:
    """--for wants a time above nothing, with its unit."""
    with pytest.raises(SystemExit):
        main(["listen", "x.toml", "--for", span])
    assert "argument --for" in capsys.readouterr().err


def test_values_come_in_the_depots_units_and_its_clock(tmp_path: Path) -> None:
    """A depot in feet and Fahrenheit reads so, and a reading of yesterday has its date."""
    config = write_config(tmp_path, 1883)
    text = config.read_text().replace('short = "TH"\n', 'short = "TH"\nunits = "us"\n')
    config.write_text(text)
    lines: list[str] = []
    heard = Heard(load_settings(config), lines.append)
    at = 1_767_225_600_000  # 2026-01-01T00:00:00Z, 18:00 of the day before in the depot
    for name, said in (
        ("main-level", payload(1.5, at - 86_400_000)),
        ("shelter-temperature", payload(0.0, at + 7_200_000)),
        ("main-temperature", b"null"),
    ):
        heard.take(Message(topic(name), said, at, False, Token(0, 0)))
    level, shelter, main_temperature = lines
    assert level.startswith("18:00:00  tern-hollow/main-level")
    assert level.endswith("4 ft 11 in, good, measured 2025-12-30 18:00:00 (24 h ago)")
    assert shelter.endswith("32 F, good, measured 20:00:00 (2 h AHEAD)")
    assert main_temperature.endswith("no value, bad (no-value), timed by its arrival")


def test_ctrl_c_is_the_callers_again_afterwards(tmp_path: Path) -> None:
    """The command leaves the signals as it found them."""
    before = signal.getsignal(signal.SIGINT)
    with listen._stopped_by_signals() as stop:
        assert isinstance(stop, threading.Event)
        assert signal.getsignal(signal.SIGINT) is not before
    assert signal.getsignal(signal.SIGINT) is before
