"""The tables of channels that are not called over HTTP, of receipts, the reply topic and the
heartbeat.
"""

from dataclasses import dataclass
from typing import Annotated, Literal

from pydantic import AfterValidator, Field

from brineward.config.channel_checks import guarded_mail, mail_address
from brineward.config.fields import Duration, FilePath, Line, Topic
from brineward.config.link_checks import from_the_root, host_alone
from brineward.config.secret_table import (
    A_PATH,
    IN_A_PLACE,
    AnswerTimeout,
    GiveUpAfter,
    Port,
    Secret,
)
from brineward.config.sections import key, table_inside


@dataclass(frozen=True, slots=True, kw_only=True)
class ReceiptSettings:
    """`[channels.X.receipts]`: the gateway reports to the listener of `[replies]` what was
    delivered.

    A text without a receipt in time counts as failed on this channel: the next one is tried.
    """

    path: Annotated[Line, AfterValidator(from_the_root), key('a path such as "/receipts"')] = (
        "/receipts"
    )
    within_seconds: Annotated[
        Duration, key('how long a receipt may take, such as "90 s"', "within", le=600.0)
    ] = 90.0
    id_key: Annotated[Line, key("the name of the id's field in a receipt", "id")] = "id"
    """The field that holds what the text was sent with as {id}, or what the gateway calls it."""
    gateway_id: Annotated[Line | None, key("the name of the id's field in the answer")] = None
    """Where the gateway has an id of its own: its field in the answer to the text; dots step into
    nested objects."""
    status_key: Annotated[Line, key("the name of the status's field", "status")] = "status"
    delivered: Annotated[
        tuple[str, ...], Field(strict=False), key("words, in an array", min_length=1)
    ] = ("delivered",)
    failed: Annotated[tuple[str, ...], Field(strict=False), key("words, in an array")] = (
        "failed",
        "undelivered",
        "rejected",
        "expired",
    )


@dataclass(frozen=True, slots=True, kw_only=True)
class MailChannel:
    """`[channels.X]` of kind mail: mail over SMTP, with TLS."""

    id: str
    kind: Annotated[Literal["mail"], Field()] = "mail"
    host: Annotated[Line, AfterValidator(host_alone), key('a host such as "mail.example"')]
    tls: Annotated[
        Literal["starttls", "implicit", "none"],
        AfterValidator(guarded_mail),
        key('starttls, implicit, or none for a mail server on this machine ("127.0.0.1")'),
    ] = "starttls"
    port: Annotated[Port | None, key("a port from 1 to 65535, such as 587")] = None
    """Where none is given: 587, 465 with implicit TLS, 25 without (RFC 8314, RFC 5321)."""
    sender: Annotated[
        Line,
        AfterValidator(mail_address),
        key('who it is from, "brineward@wexmoor.example"', "from"),
    ]
    username: Annotated[Line | None, key("the mail server's login, in quotes")] = None
    password: Annotated[Secret | None, table_inside(Secret), key(IN_A_PLACE)] = None
    ca_file: Annotated[FilePath | None, key(A_PATH)] = None
    """Where the server's certificate is from an authority of one's own."""
    answer_timeout_seconds: AnswerTimeout = 20.0
    give_up_after_seconds: GiveUpAfter = 1800.0


@dataclass(frozen=True, slots=True, kw_only=True)
class ModemChannel:
    """`[channels.X]` of kind modem: a cellular modem on a serial port, for a depot with no
    internet. What people text back to it is a reply."""

    id: str
    kind: Annotated[Literal["modem"], Field()] = "modem"
    port: Annotated[Line, key('the serial port, such as "/dev/ttyUSB0"')]
    speed: Annotated[int, key("the port's speed, such as 115200", ge=300, le=4_000_000)] = 115_200
    mode: Annotated[Literal["pdu", "text"], key("pdu or text")] = "pdu"
    """Nearly every modem has both; a few have only one."""
    pin: Annotated[Secret | None, table_inside(Secret), key(IN_A_PLACE)] = None
    """The SIM's PIN; entered once, since a card locks itself after three wrong ones."""
    answer_timeout_seconds: AnswerTimeout = 60.0
    give_up_after_seconds: GiveUpAfter = 1800.0


@dataclass(frozen=True, slots=True, kw_only=True)
class PushChannel:
    """`[channels.X]` of kind push: a push message or a voice call by a service that the library
    Apprise knows. Its URL holds the service's secrets, so all of it is kept as one."""

    id: str
    kind: Annotated[Literal["push"], Field()] = "push"
    url: Annotated[Secret, table_inside(Secret), key(IN_A_PLACE)]
    """May hold {address}, which the person's number is put into."""
    answer_timeout_seconds: AnswerTimeout = 20.0
    give_up_after_seconds: GiveUpAfter = 1800.0


@dataclass(frozen=True, slots=True, kw_only=True)
class SirenChannel:
    """`[channels.X]` of kind siren: a warning light or siren that follows an MQTT topic of [link].

    On while an alarm that was sent to it is neither taken nor cleared; retained, and switched off
    by the broker itself if brineward stops.
    """

    id: str
    kind: Annotated[Literal["siren"], Field()] = "siren"
    topic: Annotated[Topic, key("an MQTT topic name")]
    on: Annotated[Line, key('what switches it on, such as "on"')] = "on"
    off: Annotated[Line, key('what switches it off, such as "off"')] = "off"
    answer_timeout_seconds: AnswerTimeout = 10.0
    give_up_after_seconds: GiveUpAfter = 1800.0


@dataclass(frozen=True, slots=True, kw_only=True)
class HeartbeatSettings:
    """`[heartbeat]`: a sign of life to where somebody notices when it stays away.

    Sent only after a self-test that goes all the way.
    """

    url: Annotated[Secret | None, table_inside(Secret), key(IN_A_PLACE)] = None
    """The address that is called; whoever knows it could fake the sign, so it is a secret."""
    topic: Annotated[Topic | None, key("an MQTT topic name")] = None
    """Where each sign is published as well, as a reading of 1 with its time."""
    every_seconds: Annotated[Duration, key('how often, such as "1 min"', "every", ge=5.0)] = 60.0
    answer_timeout_seconds: AnswerTimeout = 10.0


@dataclass(frozen=True, slots=True, kw_only=True)
class ReplyTopicSettings:
    """`[reply_topic]`: an MQTT topic on which a phone gateway publishes the texts it receives.

    Each is a JSON object with `from`, `text`, `id` and `received`, published with QoS 1 and not
    retained. Whoever may publish there can speak for anybody on call: the broker must let the
    gateway alone.
    """

    topic: Annotated[Topic, key("an MQTT topic name")]
