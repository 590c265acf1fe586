"""What a config file says, parsed: plain frozen values that the shell is built from.

`brineward.config.load` makes them; nothing here reads a file.
"""

from collections.abc import Mapping
from dataclasses import dataclass, field
from pathlib import Path
from typing import Literal

from brineward.plant.plan import DepotPlan, Measure
from brineward.quantities.units import Unit


@dataclass(frozen=True, slots=True, kw_only=True)
class Secret:
    """Where a secret is found; the secret itself is read when used and never kept in settings."""

    environment: str | None = None
    file: Path | None = None


@dataclass(frozen=True, slots=True, kw_only=True)
class TlsSettings:
    """How to speak TLS with the broker; empty means the system's own trust store."""

    ca_file: Path | None = None
    certificate_file: Path | None = None
    key_file: Path | None = None


@dataclass(frozen=True, slots=True, kw_only=True)
class LinkSettings:
    """The broker and how to hold the session."""

    host: str = "127.0.0.1"
    port: int = 1883
    protocol: Literal["5", "3.1.1"] = "5"
    instance: str = "brineward"
    """Names this service on the broker: its client id and its state topic."""
    username: str | None = None
    password: Secret | None = None
    tls: TlsSettings | None = None
    keep_alive_seconds: int = 30
    session_expiry_seconds: int = 7 * 86_400
    receive_maximum: int = 500
    state_topic: str = "brine/brineward/brineward/state"


@dataclass(frozen=True, slots=True, kw_only=True)
class JournalSettings:
    """The database file, and how long raw readings are kept."""

    path: Path
    keep_readings_seconds: float = 400 * 86_400.0
    disk_warn_bytes: int = 500_000_000
    """Under this much free space an alarm is raised."""
    disk_thin_bytes: int = 200_000_000
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
    """A text gateway that is called over HTTP."""

    id: str
    url: str
    method: Literal["POST", "PUT", "GET"] = "POST"
    body: Literal["json", "form", "query"] = "json"
    fields: Mapping[str, str] = field(default_factory=dict)
    """Names and templates: {address}, {body}, {id}, {name}, {secret:NAME}."""
    headers: Mapping[str, str] = field(default_factory=dict)
    """Templates too; {secret:NAME} stands for a secret of this channel."""
    secrets: Mapping[str, Secret] = field(default_factory=dict)
    connect_timeout_seconds: float = 5.0
    answer_timeout_seconds: float = 15.0
    give_up_after_seconds: float = 1800.0
    """How long a text is tried before it is a dead letter."""


@dataclass(frozen=True, slots=True, kw_only=True)
class ConsoleChannel:
    """Texts printed where the service runs; for the laptop."""

    id: str
    give_up_after_seconds: float = 1800.0


@dataclass(frozen=True, slots=True, kw_only=True)
class FileChannel:
    """Texts appended to a file, one JSON object a line; for the laptop and for tests."""

    id: str
    path: Path
    give_up_after_seconds: float = 1800.0


Channel = HttpChannel | ConsoleChannel | FileChannel


@dataclass(frozen=True, slots=True, kw_only=True)
class Person:
    """Somebody who can be texted."""

    id: str
    name: str
    channel: str
    address: str = ""


@dataclass(frozen=True, slots=True, kw_only=True)
class ReplySettings:
    """Where the text gateway hands over what people text back."""

    listen_host: str = "127.0.0.1"
    listen_port: int = 8091
    path: str = "/replies"
    secret: Secret
    kind: Literal["signed", "bearer"] = "signed"
    """`signed`: HMAC-SHA256 as Standard Webhooks has it; `bearer`: a shared word in a header."""
    sender_key: str = "from"
    """The field of the sender's number; dots step into nested objects."""
    text_key: str = "text"
    id_key: str | None = None
    """The field of the message's own id, for gateways that don't sign."""


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
    """None: nobody can reply by phone."""
