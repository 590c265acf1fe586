"""Reports by mail: each report goes once to everybody who wants it.

Who is still owed a report is in a file beside it, one name a line, until the mail server has taken
it: a restart, or a server that is away, loses nothing.
"""

import logging
import mimetypes
from hashlib import sha256
from pathlib import Path
from typing import Final

from brineward.clock import Clock
from brineward.config.channel_kinds import MailChannel
from brineward.config.settings import ReportSettings, Settings
from brineward.texts.attempts import Accepted, NeverAccepted
from brineward.texts.mail import MailSender

_LOG = logging.getLogger(__name__)

OWED: Final = ".to-mail"


class ReportMail:
    """Mails the reports of one folder; does nothing where nobody wants them by mail."""

    def __init__(self, settings: Settings, reports: ReportSettings, clock: Clock) -> None:
        self._folder, self._people = reports.folder, settings.people
        self._wanted_by = reports.mail_to
        channel = settings.channels.get(reports.mail_by)
        self._sender = MailSender(channel, clock) if isinstance(channel, MailChannel) else None

    def owe(self, report: Path) -> None:
        """A report was made. Raises: OSError where that can't be noted."""
        if self._sender is not None and self._wanted_by:
            _owed(report).write_text("\n".join(self._wanted_by), encoding="utf-8")

    def send_owed(self) -> list[tuple[str, str]]:
        """Mail what is owed: which report went to whom. Raises nothing."""
        sent: list[tuple[str, str]] = []
        if self._sender is None:
            return sent
        for owed in sorted(self._folder.glob(f"*{OWED}")):
            try:
                sent += self._send(owed, self._sender)
            except (OSError, UnicodeError) as why:
                _LOG.error("%s can't be mailed: %s", owed.name, why)
        return sent

    def _send(self, owed: Path, sender: MailSender) -> list[tuple[str, str]]:
        report = owed.with_name(owed.name.removesuffix(OWED))
        content = report.read_bytes()
        sent, left = [], []
        for person in owed.read_text(encoding="utf-8").split():
            its = self._people.get(person)
            if its is None or not its.mail:
                continue  # has left since the config was changed
            key = sha256(content + person.encode()).hexdigest()[:24]
            mail = sender.empty(its.mail, f"brineward report {report.stem}", f"report-{key}")
            mail.set_content(f"The report {report.stem} is attached.\n")
            kind, _, sort = (mimetypes.guess_type(report.name)[0] or "").partition("/")
            mail.add_attachment(
                content,
                maintype=kind or "application",
                subtype=sort or "octet-stream",
                filename=report.name,
            )
            outcome = sender.deliver(mail)
            if isinstance(outcome, Accepted):
                sent.append((report.name, person))
                continue
            _LOG.error("the report %s did not go to %s: %s", report.name, person, outcome.why)
            if not isinstance(outcome, NeverAccepted):
                left.append(person)
        if left:
            owed.write_text("\n".join(left), encoding="utf-8")
        else:
            owed.unlink()
        return sent


def _owed(report: Path) -> Path:
    return report.with_name(report.name + OWED)
