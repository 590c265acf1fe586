"""What a config file says, parsed: plain frozen values that the shell is built from.

`brineward.config.load` makes them; nothing here reads a file. Each annotation with a `Field` is a
key of the file: its name there (the field's own name if no alias is given), the values it accepts,
and what an operator is told was expected. Values made in code are not checked.
"""

from collections.abc import Mapping
from dataclasses import dataclass, field
from pathlib import Path
from typing import Annotated, Literal

from pydantic import AfterValidator, BeforeValidator, Field

from brineward.config.channel_checks import (
    carries_the_text,
    good_headers,
    good_places,
    mail_address,
    reachable,
    some_channel,
    web_address,
    words_pattern,
)
from brineward.config.channel_kinds import (
    HeartbeatSettings,
    MailChannel,
    ModemChannel,
    PushChannel,
    ReceiptSettings,
    ReplyTopicSettings,
    SirenChannel,
)
from brineward.config.fields import (
    NAME_EXPECTED,
    Duration,
    FilePath,
    Id,
    Line,
    Size,
    Topic,
    VariableName,
    WholeSeconds,
    hours_of_day,
    one_of,
    phone_number,
    time_of_day,
)
from brineward.config.link_checks import (
    a_day_or_more,
    alone,
    both_or_neither,
    from_the_root,
    host_alone,
    two_bytes,
)
from brineward.config.secret_table import A_PATH, A_VARIABLE, GiveUpAfter, Port, Secret
from brineward.config.sections import key, table_inside
from brineward.plant.idle_hours import IdleHours
from brineward.plant.plan import DepotPlan, Measure
from brineward.quantities.units import Unit


@dataclass(frozen=True, slots=True, kw_only=True)
class TlsSettings:
    """`[link.tls]`: how to speak TLS; empty means the system's own trust store."""

    ca_file: Annotated[FilePath | None, key(A_PATH)] = None
    certificate_file: Annotated[FilePath | None, key(A_PATH)] = None
    key_file: Annotated[
        FilePath | None, AfterValidator(both_or_neither), key(A_PATH, validate_default=True)
    ] = None


@dataclass(frozen=True, slots=True, kw_only=True)
class LinkSettings:
    """`[link]`: the broker and how to hold the session."""

    host: Annotated[
        Line, AfterValidator(host_alone), key('a host name or address, such as "127.0.0.1"')
    ] = "127.0.0.1"
    port: Annotated[Port, key("a port from 1 to 65535, such as 1883")] = 0
    """Where none is given: 1883, or 8883 with TLS (the ports that IANA has for MQTT)."""
    protocol: Annotated[Literal["5", "3.1.1"], key('the version of MQTT, "5" or "3.1.1"')] = "5"
    instance: Annotated[Id, key(NAME_EXPECTED)] = "brineward"
    """Names this service on the broker: its client id and its state topic."""
    username: Annotated[Line | None, key("the broker's login, in quotes")] = None
    password_env: Annotated[VariableName | None, key(A_VARIABLE)] = None
    password_file: Annotated[FilePath | None, AfterValidator(alone), key(A_PATH)] = None
    password: Secret | None = None
    """Of the two keys before it; no key itself."""
    tls: Annotated[TlsSettings | None, table_inside(TlsSettings), key("a [link.tls] table")] = None
    keep_alive_seconds: Annotated[
        WholeSeconds, AfterValidator(two_bytes), key('from "1 s" to "18 h"', "keep_alive")
    ] = 30
    session_expiry_seconds: Annotated[
        WholeSeconds, key('how long the broker keeps what we miss, such as "7 d"', "session_expiry")
    ] = 7 * 86_400
    receive_maximum: Annotated[
        int, key("how many messages may be under way, 1 to 65535", ge=1, le=65_535)
    ] = 500
    state_topic: Annotated[Topic, key("an MQTT topic name")] = ""
    """Where none is given: `brine/brineward/<instance>/state`."""

    def __post_init__(self) -> None:
        """Fill in what other keys decide."""
        if not self.port:
            object.__setattr__(self, "port", 1883 if self.tls is None else 8883)
        if not self.state_topic:
            object.__setattr__(self, "state_topic", f"brine/brineward/{self.instance}/state")
        if self.password_env is not None or self.password_file is not None:
            password = Secret(environment=self.password_env, file=self.password_file)
            object.__setattr__(self, "password", password)
            # Said in one place from here on, so that a copy can go without.
            object.__setattr__(self, "password_env", None)
            object.__setattr__(self, "password_file", None)


@dataclass(frozen=True, slots=True, kw_only=True)
class JournalSettings:
    """`[journal]`: the database file, and how long raw readings are kept."""

    path: Annotated[FilePath, key('the database file, such as "tern-hollow.journal"')]
    keep_readings_seconds: Annotated[
        Duration,
        AfterValidator(a_day_or_more),
        key('how long raw readings are kept, such as "400 d"', "keep_readings"),
    ] = 400 * 86_400.0
    disk_warn_bytes: Annotated[
        Size, key('the free space under which an alarm is raised, "500 MB"', "disk_warn")
    ] = 500_000_000
    """Under this much free space an alarm is raised."""
    disk_thin_bytes: Annotated[
        Size, key('the free space under which old readings are thinned, "200 MB"', "disk_thin")
    ] = 200_000_000
    """Under this much the oldest raw readings are thinned."""


@dataclass(frozen=True, slots=True, kw_only=True)
class PayloadSettings:
    """How one sensor's payload is read."""

    kind: Literal["any", "number", "json", "senml"] = "any"
    """`any`: a bare number, an object with `value` and perhaps `time`, or a pack of one record."""
    value_key: str = "value"
    """JSON: the key of the value; dots step into nested objects."""
    time_key: str | None = None
    """JSON: the key of the time (RFC 3339 text, or seconds or milliseconds since 1970)."""
    record_name: str | None = None
    """SenML: the resolved record name of this sensor; None takes a pack's only record."""


@dataclass(frozen=True, slots=True, kw_only=True)
class SensorSource:
    """Where one sensor's readings come from and in which unit."""

    depot: str
    sensor: str
    measures: Measure
    topic: str
    """An MQTT topic name, without wildcards."""
    unit: Unit
    """The unit it publishes in; for switches `Unit` of a plain number."""
    inverted: bool = False
    """A switch that says 1 for off or shut."""
    payload: PayloadSettings = field(default_factory=PayloadSettings)
    scale: float = 1.0
    """Multiplies the published number before its unit is applied."""


@dataclass(frozen=True, slots=True, kw_only=True)
class HttpChannel:
    """`[channels.X]` of kind http: a text gateway that is called over HTTP."""

    id: str
    kind: Annotated[Literal["http"], Field()] = "http"
    secrets: Annotated[
        Mapping[str, Annotated[Secret, table_inside(Secret)]],
        key('names, each { env = "NAME" } or { file = "PATH" }'),
    ] = field(default_factory=dict)
    url: Annotated[
        Line,
        AfterValidator(web_address),
        AfterValidator(good_places),
        key('the gateway\'s address, such as "https://gateway.example/messages"'),
    ]
    method: Annotated[Literal["POST", "PUT", "GET"], key("one of POST, PUT, GET")] = "POST"
    body: Annotated[Literal["json", "form", "query"], key("one of json, form, query")] = "json"
    fields: Annotated[
        Mapping[str, str],
        AfterValidator(carries_the_text),
        key("names and texts, with {address} and {body}", validate_default=True),
    ] = field(default_factory=dict)
    """Names and templates: {address}, {body}, {id}, {name}, {secret:NAME}."""
    headers: Annotated[Mapping[str, str], AfterValidator(good_headers), key("names and texts")] = (
        field(default_factory=dict)
    )
    """Templates too; {secret:NAME} stands for a secret of this channel."""
    connect_timeout_seconds: Annotated[Duration, key('a time such as "5 s"', "connect_timeout")] = (
        5.0
    )
    answer_timeout_seconds: Annotated[Duration, key('a time such as "15 s"', "answer_timeout")] = (
        15.0
    )
    give_up_after_seconds: GiveUpAfter = 1800.0
    failed_when: Annotated[
        str, AfterValidator(words_pattern), key("words or a pattern of an answer that is a refusal")
    ] = ""
    """A regular expression: an answer of 2xx in which it is found has not taken the text."""
    receipts: Annotated[
        ReceiptSettings | None, table_inside(ReceiptSettings), key("a table of keys")
    ] = None
    """None: what the gateway takes counts as sent."""


@dataclass(frozen=True, slots=True, kw_only=True)
class ConsoleChannel:
    """`[channels.X]` of kind console: texts printed where the service runs; for the laptop."""

    id: str
    kind: Annotated[Literal["console"], Field()] = "console"
    give_up_after_seconds: GiveUpAfter = 1800.0


@dataclass(frozen=True, slots=True, kw_only=True)
class FileChannel:
    """`[channels.X]` of kind file: texts appended to a file, one JSON object a line."""

    id: str
    kind: Annotated[Literal["file"], Field()] = "file"
    path: Annotated[FilePath, key('the file that texts go to, "texts.jsonl"')]
    give_up_after_seconds: GiveUpAfter = 1800.0


Channel = (
    HttpChannel
    | ModemChannel
    | MailChannel
    | PushChannel
    | SirenChannel
    | ConsoleChannel
    | FileChannel
)


_A_CHANNEL = one_of(
    lambda known: frozenset(known.channels),
    "a channel of this file",
    none="a [channels.<name>] table",
)


@dataclass(frozen=True, slots=True, kw_only=True)
class Person:
    """`[people.X]`: somebody who can be texted."""

    id: str
    name: Annotated[Line, key('what texts call them, such as "Yard lead"')]
    channel: Annotated[str, _A_CHANNEL, key("the name of a [channels.<name>] table")] = ""
    channels: Annotated[
        tuple[Annotated[str, _A_CHANNEL], ...],
        Field(strict=False),
        AfterValidator(some_channel),
        key("names of [channels.<name>] tables, in an array", validate_default=True),
    ] = ()
    """In order: the next is used where one fails, or gives no receipt in time."""
    number: Annotated[str, AfterValidator(phone_number), key('a number such as "+1 555 0140"')] = ""
    mail: Annotated[str, AfterValidator(mail_address), key('such as "yard@wexmoor.example"')] = ""
    address: Annotated[
        str,
        AfterValidator(reachable),
        key('their phone number, such as "+1 555 0140"', validate_default=True),
    ] = ""
    """What a channel sends to where neither `number` nor `mail` says it better."""
    units: Annotated[
        Literal["us", "metric"] | None,
        key("us or metric"),
    ] = None
    """What texts to them count in, whatever their depot does."""
    quiet_hours: Annotated[
        IdleHours | None,
        BeforeValidator(hours_of_day),
        key('hours such as "21:00-06:00", in which high alarms alone wake them'),
    ] = None

    def __post_init__(self) -> None:
        """One channel is a list of one, and the first of a list is the usual one."""
        if self.channels:
            object.__setattr__(self, "channel", self.channels[0])
        else:
            object.__setattr__(self, "channels", (self.channel,))
        if not self.address:
            object.__setattr__(self, "address", self.number or self.mail)

    def address_by(self, channel: "Channel") -> str:
        """What this channel sends to for this person."""
        if isinstance(channel, MailChannel):
            return self.mail or self.address
        return self.number or self.address


@dataclass(frozen=True, slots=True, kw_only=True)
class ReplySettings:
    """`[replies]`: where the text gateway hands over what people text back.

    Calls that are neither signed nor have an `id` can be distinguished only by their words: a take
    that comes again word for word within five minutes is a copy; after ten it is a new one.
    """

    listen_host: Annotated[Line, key('an address such as "127.0.0.1"', "host")] = "127.0.0.1"
    listen_port: Annotated[Port, key("a port, such as 8091", "port")] = 8091
    path: Annotated[Line, AfterValidator(from_the_root), key('a path such as "/replies"')] = (
        "/replies"
    )
    secret: Annotated[Secret, table_inside(Secret), key('{ env = "NAME" } or { file = "PATH" }')]
    kind: Annotated[Literal["signed", "bearer"], key("signed or bearer")] = "signed"
    """`signed`: HMAC-SHA256 as Standard Webhooks has it; `bearer`: a shared word in a header."""
    sender_key: Annotated[Line, key("the name of the sender's field", "sender")] = "from"
    """The field of the sender's number; dots step into nested objects."""
    text_key: Annotated[Line, key("the name of the text's field", "text")] = "text"
    id_key: Annotated[Line | None, key("the name of the message id's field", "id")] = None
    """The field of the message's own id, for gateways that don't sign."""


_AKnownPerson = Annotated[
    str,
    one_of(lambda known: known.people, "a person of this file", none="a [people.<name>] table"),
]

ReportPeriod = Literal["night", "week", "month", "season"]


@dataclass(frozen=True, slots=True, kw_only=True)
class ReportSettings:
    """`[reports]`: which reports are made by themselves, and into which folder."""

    folder: Annotated[FilePath, key('the folder that they are written to, such as "reports"')]
    periods: Annotated[
        tuple[ReportPeriod, ...],
        Field(strict=False),
        key("a list of night, week, month, season", min_length=1),
    ] = ("week", "month", "season")
    form: Annotated[Literal["html", "pdf", "csv", "xlsx"], key("html, pdf, csv or xlsx")] = "html"
    at: Annotated[
        str, AfterValidator(time_of_day), key('a time of the depot\'s clock, such as "08:15"')
    ] = "08:15"
    """When it is looked what is due; a night is whole at 08:00."""
    mail_to: Annotated[
        tuple[_AKnownPerson, ...], Field(strict=False), key("a list of [people.<name>] names")
    ] = ()
    """Who gets each report by mail as well."""
    mail_by: Annotated[str, key("the name of a channel of kind mail")] = ""


@dataclass(frozen=True, slots=True, kw_only=True)
class PageSettings:
    """`[page]`: one page for people, on a phone; nothing is served where the table is missing."""

    listen_host: Annotated[
        Line, AfterValidator(host_alone), key('an address such as "127.0.0.1"', "host")
    ] = "127.0.0.1"
    listen_port: Annotated[Port, key("a port, such as 8092", "port")] = 8092
    look: Annotated[
        tuple[_AKnownPerson, ...], Field(strict=False), key("a list of [people.<name>] names")
    ] = ()
    """Who else may sign in, to look only; whoever is on call at a depot may look and act."""
    signed_in_seconds: Annotated[
        Duration, key('how long somebody stays signed in, such as "30 d"', "signed_in")
    ] = 30 * 86_400.0
    certificate_file: Annotated[FilePath | None, key(A_PATH)] = None
    key_file: Annotated[
        FilePath | None, AfterValidator(both_or_neither), key(A_PATH, validate_default=True)
    ] = None
    proxy: Annotated[Line | None, key('the address of a proxy that is trusted, "127.0.0.1"')] = None
    """Whose word is taken for the caller's address and for TLS."""
    proxy_header: Annotated[Line | None, key('a header such as "Remote-User"')] = None
    """The header in which that proxy names who is signed in, by the name in [people.<name>]."""
    served_by: Annotated[Literal["service", "unit"], key('"service" or "unit"')] = "service"
    """`unit`: by `brineward page` in a process of its own, as `brineward-page.service` runs it."""


@dataclass(frozen=True, slots=True, kw_only=True)
class ExportSettings:
    """`[export.X]`: a server that keeps the series for years, by InfluxDB's line protocol."""

    id: str
    url: Annotated[
        Line,
        AfterValidator(web_address),
        key('the server\'s address, such as "http://127.0.0.1:8086"'),
    ]
    api: Annotated[Literal[1, 2], key("1 or 2")] = 2
    """2: `/api/v2/write`; 1: `/write` of a 1.x server."""
    org: Annotated[Line, key("the server's name of your organisation, in quotes")] = ""
    bucket: Annotated[Line, key('the bucket, or with api = 1 the database, such as "brine"')]
    username: Annotated[Line | None, key("the login of a 1.x server, in quotes")] = None
    token: Annotated[
        Secret | None, table_inside(Secret), key('{ env = "NAME" } or { file = "PATH" }')
    ] = None
    """The API token; with `username` the password."""
    depots: Annotated[
        tuple[Id, ...], Field(strict=False), key("a list of depots of this file", min_length=1)
    ] = ()
    """Empty: every depot."""


@dataclass(frozen=True, slots=True, kw_only=True)
class RotaCalendar:
    """Where a depot's rota is read from outside, and how often."""

    where: str
    """An address, or a file's path as the config has it."""
    every_seconds: float


@dataclass(frozen=True, slots=True, kw_only=True)
class Settings:
    """One config file, whole."""

    file: Path
    hash: str
    """SHA-256 of the file's bytes, in hexadecimal."""
    link: LinkSettings
    journal: JournalSettings
    channels: Mapping[str, Channel]
    people: Mapping[str, Person]
    depots: Mapping[str, DepotPlan]
    sources: tuple[SensorSource, ...]
    replies: ReplySettings | None = None
    """None: no gateway calls with what people text."""
    reply_topic: ReplyTopicSettings | None = None
    """None: no gateway publishes what people text."""
    reports: ReportSettings | None = None
    """None: a report is made when somebody asks for it."""
    page: PageSettings | None = None
    """None: no page is served."""
    heartbeat: HeartbeatSettings | None = None
    """None: nobody elsewhere is told that the watch is alive."""
    exports: Mapping[str, ExportSettings] = field(default_factory=dict)
    calendars: Mapping[str, RotaCalendar] = field(default_factory=dict)
    """By depot: where its rota is read from outside."""
