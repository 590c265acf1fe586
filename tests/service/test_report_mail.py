"""Reports by mail: each once to everybody who wants it, and none lost while the server is away."""

from collections.abc import Iterator
from email import message_from_bytes, policy
from pathlib import Path

import pytest
from aiosmtpd.controller import Controller
from aiosmtpd.smtp import Envelope

from brineward.clock import MachineClock
from brineward.config.load import load_settings
from brineward.config.mistakes import ConfigMistakes
from brineward.config.settings import Settings
from brineward.link.embedded import free_port
from brineward.service.report_mail import ReportMail
from checkout import ROOT

SMALLEST = (ROOT / "config" / "smallest.toml").read_text(encoding="utf-8")
CONFIG = """
[channels.mail]
kind = "mail"
host = "127.0.0.1"
tls = "none"
port = {port}
from = "brineward@wexmoor.example"

[people.office]
name = "Office"
channel = "screen"
mail = "office@wexmoor.example"

[reports]
folder = "out"
mail_to = ["office"]
mail_by = "mail"
"""


class Box:
    """What a mail server has taken, and what it answers where it takes nothing."""

    def __init__(self) -> None:
        self.mails: list[bytes] = []
        self.answer = ""

    async def handle_DATA(self, server: object, session: object, envelope: Envelope) -> str:  # noqa: N802 - the library's name
        """Take it."""
        if not self.answer:
            self.mails.append(envelope.content)  # type: ignore[arg-type]  # bytes by default
        return self.answer or "250 taken"


@pytest.fixture
def made(tmp_path: Path) -> Iterator[tuple[Settings, Box]]:
    """A config whose office gets reports by mail, and its mail server."""
    box, port = Box(), free_port()
    (tmp_path / "own.toml").write_text(SMALLEST + CONFIG.format(port=port))
    (tmp_path / "out").mkdir()
    server = Controller(box, hostname="127.0.0.1", port=port)
    server.start()
    yield load_settings(tmp_path / "own.toml"), box
    server.stop()


def mail_of(settings: Settings) -> ReportMail:
    """As a service that has just started has it."""
    assert settings.reports is not None
    return ReportMail(settings, settings.reports, MachineClock())


def report(settings: Settings, name: str = "kettle-ridge-week-2026-01-12.html") -> Path:
    """A report that was made."""
    assert settings.reports is not None
    path = settings.reports.folder / name
    path.write_bytes(b"<h1>A week</h1>")
    return path


def test_a_report_is_mailed_once_with_the_file_attached(made: tuple[Settings, Box]) -> None:
    """To who wants it, named as the file is, and not again after a restart."""
    settings, box = made
    mail_of(settings).owe(report(settings))
    assert mail_of(settings).send_owed() == [("kettle-ridge-week-2026-01-12.html", "office")]
    assert mail_of(settings).send_owed() == []
    (raw,) = box.mails
    mail = message_from_bytes(raw, policy=policy.default)
    assert mail["To"] == "office@wexmoor.example"
    (attached,) = mail.iter_attachments()
    assert attached.get_filename() == "kettle-ridge-week-2026-01-12.html"
    assert attached.get_payload(decode=True) == b"<h1>A week</h1>"


def test_a_server_that_refuses_for_now_gets_it_later_as_the_same_mail(
    made: tuple[Settings, Box],
) -> None:
    """Through a restart; a refusal for ever is not tried again."""
    settings, box = made
    mail_of(settings).owe(report(settings))
    box.answer = "451 later"
    assert mail_of(settings).send_owed() == []
    box.answer = ""
    assert len(mail_of(settings).send_owed()) == 1
    mail_of(settings).owe(report(settings, "kettle-ridge-week-2026-01-19.html"))
    box.answer = "550 never"
    assert mail_of(settings).send_owed() == []
    box.answer = ""
    assert mail_of(settings).send_owed() == []
    assert len(box.mails) == 1


def test_who_wants_mail_and_has_no_way_to_it_is_told_at_the_config(tmp_path: Path) -> None:
    """No address, or a channel that is none for mail."""
    text = SMALLEST + CONFIG.format(port=25)
    for wrong, said in (
        (text.replace('mail = "office@wexmoor.example"\n', ""), "gets reports by mail"),
        (text.replace('mail_by = "mail"', 'mail_by = "screen"'), "mail_by"),
    ):
        (tmp_path / "own.toml").write_text(wrong)
        with pytest.raises(ConfigMistakes, match=said):
            load_settings(tmp_path / "own.toml")
