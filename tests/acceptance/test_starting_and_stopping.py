"""How the service starts, refuses to start, and stops."""

import json
import time
from pathlib import Path

import pytest

from brokers import Listener, Mosquitto, mosquitto, until
from services import DEPOT, brineward, depot, running, write_config

__all__ = ["mosquitto"]

pytestmark = pytest.mark.mosquitto


def test_sigterm_ends_it_within_seconds_and_the_broker_knows(
    tmp_path: Path, mosquitto: Mosquitto
) -> None:
    """Exit code 0, everything kept, and the retained state and the status say that it was stopped,
    at once."""
    topic = "brine/brineward/brineward/state"
    listener = Listener(mosquitto.port, [topic])
    config = write_config(tmp_path / "service", mosquitto.port)
    with depot(mosquitto.port) as source, running(config) as service:
        until(lambda: listener.heard, what="word of its start")
        assert json.loads(listener.heard[-1][1])["state"] == "online"
        source.round()
        source.confirmed()
        service.wait_for(lambda: len(service.readings()) == len(source.sent), "readings")
        began = time.monotonic()
        assert service.stop() == 0
        assert time.monotonic() - began < 15.0, "it stops within seconds"
        until(lambda: json.loads(listener.heard[-1][1])["state"] == "stopped", what="its end")
        assert service.look(lambda j: j.resuming.resume([DEPOT]).after[DEPOT]) == service.look(
            lambda j: j.ordering.last_seq()
        ), "the last state is kept, so the next start has nothing to go through again"
        assert service.log.rstrip().endswith("stopped")
        assert brineward("status", str(config)).stdout.startswith("SERVICE STOPPED at ")
    listener.close()


def test_stopped_while_the_broker_is_away(tmp_path: Path, mosquitto: Mosquitto) -> None:
    """Without a broker it stops as quickly."""
    with running(write_config(tmp_path / "service", mosquitto.port)) as service:
        mosquitto.stop()
        service.wait_for(lambda: "not connected to the broker" in service.log, "the loss")
        began = time.monotonic()
        assert service.stop() == 0
        assert time.monotonic() - began < 15.0, "it stops within seconds"


def test_a_second_service_on_the_same_journal_is_refused(
    tmp_path: Path, mosquitto: Mosquitto
) -> None:
    """Exit code 3 and a sentence; the first one is not disturbed."""
    config = write_config(tmp_path / "service", mosquitto.port)
    with running(config) as service:
        second = brineward("run", str(config))
        assert second.returncode == 3
        assert "in use by another brineward service" in second.stderr
        assert "Traceback" not in second.stderr
        assert service.stop() == 0


def test_a_bad_config_is_told_whole(tmp_path: Path) -> None:
    """Exit code 2, and every mistake of the file at once, with its line."""
    config = write_config(tmp_path / "service", 1883)
    text = config.read_text()
    text = text.replace('diameter = "2.40 m"', 'diameter = "2.40 kg"')
    text = text.replace('draws_from = "main"', 'draws_from = "nowhere"')
    config.write_text(text.replace('time_zone = "America/Chicago"', 'time_zone = "Nowhere"'))
    refused = brineward("run", str(config))
    assert refused.returncode == 2
    for mistake in ("diameter", "draws_from", "time_zone"):
        assert mistake in refused.stderr
    assert "Traceback" not in refused.stderr
    missing = brineward("run", str(tmp_path / "none.toml"))
    assert missing.returncode == 2
    assert "none.toml" in missing.stderr


def test_a_damaged_journal_is_saved_and_told(tmp_path: Path, mosquitto: Mosquitto) -> None:
    """The watch goes on with what can be read, on call hear of it, and the damaged file lies
    beside it as it was; a file that is no journal is refused with exit code 3 and left alone."""
    config = write_config(tmp_path / "service", mosquitto.port)
    with depot(mosquitto.port) as source, running(config) as service:
        source.rounds(1.0, every=0.01)
        source.confirmed()
        service.wait_for(lambda: len(service.readings()) == len(source.sent), "readings")
        assert service.stop() == 0
        journal = service.journal
        whole = journal.read_bytes()
        for start in range(4096 * 4, len(whole), 4096 * 4):
            whole = whole[:start] + b"\xa5" * 2048 + whole[start + 2048 :]
        journal.write_bytes(whole)
        service.start_and_wait()
        service.wait_for(lambda: "records-damaged" in service.raised(), "the alarm")
        kept = len(service.readings())
        source.values |= {"pump-running": 1, "hose-valve-open": 0}
        source.rounds(3.0)
        service.wait_for(lambda: "closed-valve" in service.raised(), "the next alarm")
        assert len(service.readings()) > kept
        assert service.stop() == 0
        assert "Traceback" not in service.log
        (aside,) = journal.parent.glob("brineward.journal.damaged-*")
        assert aside.read_bytes() == whole
        texts = service.ask(lambda r: r.texts.newest())
        assert any("the journal was damaged" in text.notice.headline for text in texts)

    journal.write_bytes(b"Dear diary, today it snowed. " * 1000)
    other = brineward("run", str(config))
    assert other.returncode == 3
    assert "is not a journal" in other.stderr
    assert "Traceback" not in other.stderr
