"""The self-test before each sign of life: each link of the way, broken alone, is named."""

import time
from collections.abc import Iterator
from pathlib import Path

import pytest

from brineward.clock import MachineClock
from brineward.config.channel_kinds import HeartbeatSettings
from brineward.config.load import load_settings
from brineward.config.secret_table import Secret
from brineward.config.settings import Settings
from brineward.journal import Journal
from brineward.readings.entries import LinkChanged
from brineward.readings.outputs import Step
from brineward.readings.values import Reading
from brineward.service.heartbeat import call, self_test
from gateways import Answer, Gateway
from services import now_ms, write_config


@pytest.fixture
def gateway() -> Iterator[Gateway]:
    """Where texts leave."""
    with Gateway() as one:
        yield one


@pytest.fixture
def settings(tmp_path: Path, gateway: Gateway) -> Settings:
    """A service that goes round, is linked, and has just committed a reading."""
    made = load_settings(write_config(tmp_path, 1, gateway=gateway.url))
    now = now_ms()
    with Journal.open(made.journal.path) as journal:
        link = LinkChanged(time=now, up=True, why="")
        reading = Reading("tern-hollow", "main-level", now, 1.5, now)
        journal.commit([Step(link, ()), Step(reading, ())])
        journal.signs_of_life.note(beat=now)
    return made


def noted(settings: Settings, *entries: object, **said: object) -> None:
    """The service writes so."""
    with Journal.open(settings.journal.path) as journal:
        journal.commit([Step(entry, ()) for entry in entries])  # type: ignore[arg-type]  # any of them
        if said:
            journal.signs_of_life.note(**said)  # type: ignore[arg-type]  # any of them


def test_all_is_well_where_every_link_holds(settings: Settings) -> None:
    """Then, and only then, it has nothing to say."""
    assert self_test(settings, now_ms()) == ""


def test_a_service_that_does_not_go_round(settings: Settings) -> None:
    """Its beat is half a minute old."""
    assert self_test(settings, now_ms() + 31_000) == "the service makes no progress"


def test_a_link_that_is_down(settings: Settings) -> None:
    """The broker is away."""
    noted(settings, LinkChanged(time=now_ms(), up=False, why="refused"))
    assert self_test(settings, now_ms()) == "there is no link to the broker"


def test_readings_that_are_not_committed(settings: Settings) -> None:
    """The service beats on, and no reading came for longer than its sensors may be silent."""
    later = now_ms() + 86_400_000
    noted(settings, beat=later)
    assert self_test(settings, later) == "no reading of Tern Hollow was committed lately"


def test_a_gateway_that_is_away(settings: Settings, gateway: Gateway) -> None:
    """No text could leave."""
    gateway.__exit__()
    assert self_test(settings, now_ms()) == "no channel of anybody on call can be reached"


def test_a_journal_that_is_gone(settings: Settings) -> None:
    """It is said, and nothing is raised."""
    settings.journal.path.write_bytes(b"no journal")
    assert self_test(settings, now_ms()).startswith("the journal can't be read")


@pytest.mark.parametrize(
    ("answer", "why"),
    [
        (Answer(), ""),
        (Answer(status=500), "it answered 500"),
        (Answer(status=302, headers={"Location": "http://127.0.0.1:1/"}), "it answered 302"),
        (Answer(fault="close"), "no answer"),
        (Answer(fault="hang"), "no answer within 1 s"),
        (Answer(fault="dribble headers"), "no answer within 1 s"),
    ],
)
def test_a_monitor_that_fails_is_said_without_its_address(
    answer: Answer, why: str, tmp_path: Path, caplog: pytest.LogCaptureFixture
) -> None:
    """Whoever knows the address could fake the sign; the HTTP library doesn't log it either, also
    where another library has set its level."""
    caplog.set_level("DEBUG", logger="urllib3")
    with Gateway(answer) as monitor:
        (tmp_path / "url").write_text(f"{monitor.url}/s3cr3t")
        heart = HeartbeatSettings(url=Secret(file=tmp_path / "url"), answer_timeout_seconds=1.0)
        began = time.monotonic()
        said = call(heart, MachineClock())
        assert time.monotonic() - began < 15
    assert said.startswith(why) if why else said == ""
    assert "s3cr3t" not in said + caplog.text


def test_an_address_that_is_missing_or_none_is_said(tmp_path: Path) -> None:
    """Which place to look at, and nothing of what stands there."""
    missing = HeartbeatSettings(url=Secret(file=tmp_path / "none"))
    assert str(tmp_path / "none") in call(missing, MachineClock())
    (tmp_path / "url").write_text("hush://s3cr3t")
    assert call(HeartbeatSettings(url=Secret(file=tmp_path / "url")), MachineClock()) == (
        "its address is no web address"
    )
