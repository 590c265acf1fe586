"""`[link]` and `[journal]`: the broker, and the database file."""

from pathlib import Path
from typing import Annotated, Literal, Self

from pydantic import AfterValidator, Field, ValidationInfo, field_validator, model_validator

from brineward.config.fields import (
    NAME_EXPECTED,
    Duration,
    FilePath,
    Line,
    Size,
    VariableName,
    name_mistake,
)
from brineward.config.mistakes import shown
from brineward.config.sections import Section, refused
from brineward.config.sensor_table import Topic
from brineward.config.settings import JournalSettings, LinkSettings, Secret, TlsSettings


def _host(host: str) -> str:
    if any(character in host for character in "/@ ") or host.count(":") == 1:
        raise refused(f"{shown(host)} is not a host name alone")
    return host


def _instance(name: str) -> str:
    mistake = name_mistake(name)
    if mistake:
        raise refused(mistake, NAME_EXPECTED)
    return name


class TlsTable(Section):
    """`[link.tls]`: how to speak TLS with the broker."""

    ca_file: FilePath | None = Field(default=None, description="a path, in quotes")
    certificate_file: FilePath | None = Field(default=None, description="a path, in quotes")
    key_file: FilePath | None = Field(
        default=None, validate_default=True, description="a path, in quotes"
    )

    @field_validator("key_file")
    @classmethod
    def _both(cls, key: Path | None, info: ValidationInfo) -> Path | None:
        if "certificate_file" in info.data and (key is None) != (
            info.data["certificate_file"] is None
        ):
            raise refused("one of certificate_file and key_file is given", "both, or neither")
        return key

    def settled(self) -> TlsSettings:
        """The settings of it."""
        return TlsSettings(
            ca_file=self.ca_file, certificate_file=self.certificate_file, key_file=self.key_file
        )


class LinkTable(Section):
    """`[link]`: the broker, and how to hold the session."""

    host: Annotated[Line, AfterValidator(_host)] = Field(
        default="127.0.0.1", description='a host name or address, such as "127.0.0.1"'
    )
    port: int | None = Field(
        default=None, ge=1, le=65_535, description="a port from 1 to 65535, such as 1883"
    )
    protocol: Literal["5", "3.1.1"] = Field(
        default="5", description='the version of MQTT, "5" or "3.1.1"'
    )
    instance: Annotated[Line, AfterValidator(_instance)] = Field(
        default="brineward", description=NAME_EXPECTED
    )
    username: Line | None = Field(default=None, description="the broker's login, in quotes")
    password_env: VariableName | None = Field(
        default=None, description="the name of an environment variable, never the secret"
    )
    password_file: FilePath | None = Field(default=None, description="a path, in quotes")
    tls: TlsTable | None = Field(default=None, description="a [link.tls] table")
    keep_alive: Duration = Field(default=30.0, description='from "1 s" to "18 h"')
    session_expiry: Duration = Field(
        default=7 * 86_400.0, description='how long the broker keeps what we miss, such as "7 d"'
    )
    receive_maximum: int = Field(
        default=500, ge=1, le=65_535, description="how many messages may be under way, 1 to 65535"
    )
    state_topic: Topic | None = Field(default=None, description="an MQTT topic name")

    @field_validator("keep_alive", "session_expiry")
    @classmethod
    def _whole_seconds(cls, seconds: float) -> float:
        if seconds != int(seconds):
            raise refused(f"{seconds:g} s is not a whole number of seconds")
        return seconds

    @field_validator("keep_alive")
    @classmethod
    def _two_bytes(cls, seconds: float) -> float:
        if seconds > 65_535:
            raise refused(f"{seconds:g} s is longer than MQTT allows")
        return seconds

    @field_validator("password_file")
    @classmethod
    def _one_password(cls, file: Path | None, info: ValidationInfo) -> Path | None:
        if file is not None and info.data.get("password_env") is not None:
            raise refused("there is a password_env too", "one of password_env and password_file")
        return file

    def settled(self) -> LinkSettings:
        """The settings of it."""
        password = None
        if self.password_env is not None or self.password_file is not None:
            password = Secret(environment=self.password_env, file=self.password_file)
        return LinkSettings(
            host=self.host,
            port=self.port or (1883 if self.tls is None else 8883),
            protocol=self.protocol,
            instance=self.instance,
            username=self.username,
            password=password,
            tls=self.tls.settled() if self.tls is not None else None,
            keep_alive_seconds=int(self.keep_alive),
            session_expiry_seconds=int(self.session_expiry),
            receive_maximum=self.receive_maximum,
            state_topic=self.state_topic or f"brine/brineward/{self.instance}/state",
        )


class JournalTable(Section):
    """`[journal]`: the database file, and how long raw readings are kept."""

    path: FilePath = Field(description='the database file, such as "tern-hollow.journal"')
    keep_readings: Duration = Field(
        default=400 * 86_400.0, description='how long raw readings are kept, such as "400 d"'
    )
    disk_warn: Size = Field(
        default=500_000_000, description='the free space under which an alarm is raised, "500 MB"'
    )
    disk_thin: Size = Field(
        default=200_000_000,
        description='the free space under which old readings are thinned, "200 MB"',
    )

    @field_validator("keep_readings")
    @classmethod
    def _a_day_or_more(cls, seconds: float) -> float:
        if seconds < 86_400:
            raise refused(f"{seconds:g} s is less than a day")
        return seconds

    @model_validator(mode="after")
    def _warned_first(self) -> Self:
        if self.disk_thin >= self.disk_warn:
            raise refused(
                "readings would be thinned before anyone is warned",
                "a disk_thin that is less than disk_warn",
            )
        return self

    def settled(self) -> JournalSettings:
        """The settings of it."""
        return JournalSettings(
            path=self.path,
            keep_readings_seconds=self.keep_readings,
            disk_warn_bytes=self.disk_warn,
            disk_thin_bytes=self.disk_thin,
        )
