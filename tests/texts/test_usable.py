"""A channel whose secret is missing is said at once, and raised as a trouble of the service."""

import logging
from collections.abc import Callable
from pathlib import Path

import pytest

from brineward.clock import MachineClock
from brineward.config.load import load_settings
from brineward.config.settings import Settings
from brineward.readings.entries import ServiceTrouble
from brineward.service.trouble_look import TroubleLook
from brineward.texts.usable import unusable_channels
from services import write_config

TOKEN = "BRINEWARD_TEST_GATEWAY_TOKEN"
REPLY = "BRINEWARD_TEST_REPLY_SECRET"
HUSH = "whsec_MfKQ9r8GKYqrTwjUPD8ILPZIo2LaLaSw"
MORE = f"""
[channels.phone.secrets]
token = {{ env = "{TOKEN}" }}

[channels.unused]
kind = "http"
url = "http://127.0.0.1:9/"
fields.text = "{{body}}"
secrets.other = {{ env = "BRINEWARD_TEST_NOBODY_NEEDS_THIS" }}

[replies]
secret = {{ env = "{REPLY}" }}
"""


def look_of(settings: Settings, post: Callable[[ServiceTrouble], object]) -> TroubleLook:
    """What looks for channels that can't be used, as the service has it."""
    return TroubleLook(
        "channel-unusable",
        lambda: " ".join(unusable_channels(settings)),
        well="Every channel can be used.",
        clock=MachineClock(),
        post=post,
    )


@pytest.fixture
def settings(tmp_path: Path, monkeypatch: pytest.MonkeyPatch) -> Settings:
    """A config with a secret for its gateway and one for replies, neither set."""
    monkeypatch.delenv(TOKEN, raising=False)
    monkeypatch.delenv(REPLY, raising=False)
    file = write_config(tmp_path, 1883, gateway="http://127.0.0.1:9/messages")
    file.write_text(file.read_text() + MORE)
    return load_settings(file)


def test_each_missing_secret_is_a_sentence(
    settings: Settings, monkeypatch: pytest.MonkeyPatch
) -> None:
    """The operator reads what does not work and what to do; a channel nobody uses is no trouble."""
    assert unusable_channels(settings) == [
        (
            f"No text goes out by channel phone: the environment variable {TOKEN} is not set; "
            "set it where the service starts."
        ),
        (
            f"Nobody can reply by text: the environment variable {REPLY} is not set; "
            "set it where the service starts."
        ),
    ]
    monkeypatch.setenv(TOKEN, "hush")
    monkeypatch.setenv(REPLY, HUSH)
    assert unusable_channels(settings) == []


def test_a_signing_secret_that_is_none_is_said_without_quoting_it(
    settings: Settings, monkeypatch: pytest.MonkeyPatch
) -> None:
    """Something is there, but no reply could ever be checked with it."""
    monkeypatch.setenv(TOKEN, "hush")
    monkeypatch.setenv(REPLY, "hush hush!")
    [sentence] = unusable_channels(settings)
    assert "not Base64" in sentence
    assert "hush" not in sentence


def test_a_file_channel_without_its_folder(tmp_path: Path) -> None:
    """Texts that go to a file need its folder."""
    file = write_config(tmp_path, 1883)
    file.write_text(file.read_text().replace('"phone.jsonl"', '"gone/phone.jsonl"'))
    [sentence] = unusable_channels(load_settings(file))
    assert sentence == (
        f"No text goes out by channel phone: its folder {tmp_path / 'gone'} does not exist; "
        "make it."
    )


def test_the_service_hears_of_it_once_and_when_it_is_put_right(
    settings: Settings, monkeypatch: pytest.MonkeyPatch, caplog: pytest.LogCaptureFixture
) -> None:
    """An error in the log and a trouble for the engine at the first look; one more at the end."""
    posted: list[ServiceTrouble] = []
    look = look_of(settings, posted.append)
    look.look()
    look.look()
    assert [(each.trouble, each.present) for each in posted] == [("channel-unusable", True)]
    assert TOKEN in posted[0].sentence
    assert REPLY in posted[0].sentence
    errors = [each.message for each in caplog.records if each.levelno == logging.ERROR]
    assert errors == [posted[0].sentence]
    monkeypatch.setenv(TOKEN, "hush")
    look.look()
    monkeypatch.setenv(REPLY, HUSH)
    look.look()
    look.look()
    assert [each.present for each in posted] == [True, True, False]
    assert not any(HUSH in each.sentence or "hush" in each.sentence for each in posted)


def test_what_the_last_run_said_is_taken_back_at_the_start(
    settings: Settings, monkeypatch: pytest.MonkeyPatch
) -> None:
    """Put right while the service was down: the first look says so, or the alarm would stay."""
    monkeypatch.setenv(TOKEN, "hush")
    monkeypatch.setenv(REPLY, HUSH)
    posted: list[ServiceTrouble] = []
    look_of(settings, posted.append).look()
    assert [each.present for each in posted] == [False]


def test_a_trouble_that_could_not_be_posted_is_posted_at_the_next_look(settings: Settings) -> None:
    """A disk that is full just then does not swallow it."""
    posted: list[ServiceTrouble] = []
    full = [OSError(28, "No space left on device")]

    def post(entry: ServiceTrouble) -> None:
        if full:
            raise full.pop()
        posted.append(entry)

    look = look_of(settings, post)
    with pytest.raises(OSError, match="No space"):
        look.look()
    look.look()
    assert [each.present for each in posted] == [True]
