"""Mail over SMTP, with TLS: the whole of a notice, not one segment."""

import smtplib
import socket
import ssl
from email.message import EmailMessage
from email.utils import formatdate

from brineward.clock import Clock
from brineward.config.channel_kinds import MailChannel
from brineward.config.secrets import SecretMissing, read_secret
from brineward.readings.instants import SECOND
from brineward.texts.attempts import Accepted, Failed, NeverAccepted, Outcome
from brineward.texts.deadlines import Deadline
from brineward.texts.gateway import scrubbed
from brineward.texts.senders import OutgoingText
from brineward.wording.letter import letter, subject_of

_PORTS = {"starttls": 587, "implicit": 465, "none": 25}


class MailSender:
    """Hands mail to one server."""

    def __init__(self, channel: MailChannel, clock: Clock) -> None:
        self._channel = channel
        self._clock = clock

    def send(self, text: OutgoingText) -> Outcome:
        """One connection, one mail, done within the answer timeout."""
        return self.deliver(self._mail(text))

    def deliver(self, mail: EmailMessage) -> Outcome:
        """The same with a mail that is made already."""
        channel = self._channel
        try:
            password = read_secret(channel.password) if channel.password is not None else None
        except SecretMissing as error:
            return Failed(why=f"channel {channel.id}: {error}", channel_unusable=True)
        with Deadline(channel.answer_timeout_seconds) as deadline:
            try:
                return self._hand_over(mail, deadline, password)
            except smtplib.SMTPException as error:
                said = _outcome_of(channel.id, error, password or "")
            except ssl.SSLError as error:
                said = Failed(
                    why=f"channel {channel.id}: TLS failed: {error.reason or 'no reason'}"
                )
            except (OSError, UnicodeError) as error:
                reason = error.strerror if isinstance(error, OSError) else None
                why = reason or type(error).__name__
                said = Failed(why=f"channel {channel.id}: no way to the mail server: {why}")
            if deadline.expired:
                limit = channel.answer_timeout_seconds
                return Failed(why=f"channel {channel.id}: no whole answer within {limit:g} s")
            return said

    def _hand_over(self, mail: EmailMessage, deadline: Deadline, password: str | None) -> Outcome:
        channel = self._channel
        context = ssl.create_default_context(cafile=channel.ca_file)
        context.minimum_version = ssl.TLSVersion.TLSv1_2
        server = _connection(channel, deadline, context)
        try:
            if channel.tls == "starttls":
                server.starttls(context=context)
            if channel.username is not None and password is not None:
                server.login(channel.username, password)
            server.send_message(mail)
        finally:
            server.close()
        return Accepted(receipt="taken by the mail server")

    def _mail(self, text: OutgoingText) -> EmailMessage:
        mail = self.empty(text.address, subject_of(text.notice), text.key)
        mail.set_content(letter(text.notice))
        return mail

    def empty(self, address: str, subject: str, key: str) -> EmailMessage:
        """A mail to fill; `key` is the same on every attempt and never that of another mail."""
        mail = EmailMessage()
        mail["From"] = self._channel.sender
        mail["To"] = address
        mail["Subject"] = subject
        mail["Date"] = formatdate(self._clock.now() / SECOND)
        # The same on every attempt: a mail server, or the reader's program, drops what it has had.
        mail["Message-ID"] = f"<{key}@{self._channel.sender.rpartition('@')[2]}>"
        mail["Auto-Submitted"] = "auto-generated"  # RFC 3834: nobody's holiday answers it
        return mail


def _connection(channel: MailChannel, deadline: Deadline, context: ssl.SSLContext) -> smtplib.SMTP:
    class Plain(smtplib.SMTP):
        def _get_socket(self, host: str, port: int, timeout: float) -> socket.socket:
            return deadline.watch(socket.create_connection((host, port), timeout))

    class Implicit(smtplib.SMTP_SSL):
        def _get_socket(self, host: str, port: int, timeout: float) -> socket.socket:
            plain = deadline.watch(socket.create_connection((host, port), timeout))
            return context.wrap_socket(plain, server_hostname=host)

    port = channel.port or _PORTS[channel.tls]
    # Its own name is not asked of a name service, which may hang.
    kind = Implicit if channel.tls == "implicit" else Plain
    return kind(
        channel.host, port, local_hostname="brineward", timeout=channel.answer_timeout_seconds
    )


def _outcome_of(channel: str, error: smtplib.SMTPException, password: str) -> Outcome:
    """What a refusal means: RFC 5321 section 4.2.1, 4xx for now and 5xx for ever."""
    if isinstance(error, smtplib.SMTPAuthenticationError):
        why = f"channel {channel}: the mail server refuses the login"
        return Failed(why=why, channel_unusable=True)
    if isinstance(error, smtplib.SMTPNotSupportedError):
        why = f"channel {channel}: the mail server has no TLS or no login: {error}"
        return Failed(why=scrubbed(why, [password]), channel_unusable=True)
    if isinstance(error, smtplib.SMTPRecipientsRefused):
        code, said = next(iter(error.recipients.values()))
        words: bytes | str = said
    elif isinstance(error, smtplib.SMTPResponseException):
        code, words = error.smtp_code, error.smtp_error
    else:
        return Failed(why=f"channel {channel}: the mail server hung up")
    plain = words.decode("utf-8", "replace") if isinstance(words, bytes) else words
    why = f"channel {channel} answered {code}: {scrubbed(plain, [password])}"
    return NeverAccepted(why=why) if 500 <= code <= 599 else Failed(why=why)
