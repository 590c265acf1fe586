"""`[channels.X]` and `[people.X]`: how people are reached, and who they are."""

import re
from collections.abc import Mapping
from pathlib import Path
from typing import Annotated, Any, Literal
from urllib.parse import parse_qsl, urlsplit

from pydantic import AfterValidator, Field, ValidationInfo, field_validator

from brineward.config.fields import Duration, FilePath, Line, VariableName, one_of, phone_number
from brineward.config.mistakes import not_among, shown, written_name
from brineward.config.sections import Section, known_of, refused
from brineward.config.settings import (
    Channel,
    ConsoleChannel,
    FileChannel,
    HttpChannel,
    Person,
    Secret,
)

_PLACEHOLDER = re.compile(r"\{([^{}]*)\}")
_PLAIN_PLACEHOLDERS = ("address", "body", "id", "name")
_STORED_PREFIX = "secret:"
_HEADER_NAME = re.compile(r"[!#$%&'*+.^_`|~0-9A-Za-z-]{1,100}", re.ASCII)
_KEEPS_SECRETS = re.compile(r"auth|token|secret|passw|api-?_?key|cookie|credential", re.IGNORECASE)


class SecretTable(Section):
    """Where one secret is found."""

    env: VariableName | None = Field(
        default=None, description="the name of an environment variable, never the secret"
    )
    file: FilePath | None = Field(
        default=None, validate_default=True, description="a path, in quotes"
    )

    @field_validator("file")
    @classmethod
    def _one_place(cls, file: Path | None, info: ValidationInfo) -> Path | None:
        if "env" in info.data and (file is None) == (info.data["env"] is None):
            raise refused("a secret is found in one place", 'env = "NAME" or file = "PATH"')
        return file

    def settled(self) -> Secret:
        """The settings of it."""
        return Secret(environment=self.env, file=self.file)


def _url(url: str) -> str:
    try:
        parts = urlsplit(url)
        good = parts.scheme in ("http", "https") and bool(parts.hostname) and parts.port != 0
    except ValueError:
        good = False
        parts = None
    if not good or parts is None or " " in url or not url.isascii():
        raise refused(f"{shown(url.partition('?')[0])} is not a web address")
    if "@" in parts.netloc:
        raise refused("the address has a login in it", "a secret of the channel in a header")
    if "{" in parts.netloc:
        raise refused("the address has a host that must be filled in", "one host for every text")
    return url


class HttpTable(Section):
    """A text gateway that is called over HTTP."""

    kind: Literal["http"]
    secrets: dict[str, SecretTable] = Field(
        default={}, description='names, each { env = "NAME" } or { file = "PATH" }'
    )
    url: Annotated[Line, AfterValidator(_url)] = Field(
        description='the gateway\'s address, such as "https://gateway.example/messages"'
    )
    method: Literal["POST", "PUT", "GET"] = Field(
        default="POST", description="one of POST, PUT, GET"
    )
    body: Literal["json", "form", "query"] = Field(
        default="json", description="one of json, form, query"
    )
    fields: dict[str, str] = Field(
        default={}, validate_default=True, description="names and texts, with {address} and {body}"
    )
    headers: dict[str, str] = Field(default={}, description="names and texts")
    connect_timeout: Duration = Field(default=5.0, description='a time such as "5 s"')
    answer_timeout: Duration = Field(default=15.0, description='a time such as "15 s"')
    give_up_after: Duration = Field(
        default=1800.0, description='how long a text is tried, such as "30 min"'
    )

    @field_validator("url")
    @classmethod
    def _good_places(cls, url: str, info: ValidationInfo) -> str:
        _check_templates({"": url}, info)
        try:
            query = dict(parse_qsl(urlsplit(url).query, max_num_fields=100))
        except ValueError as error:
            raise refused("the address has more than 100 values behind its ?") from error
        _check_templates(query, info)
        return url

    @field_validator("fields")
    @classmethod
    def _carries_the_text(cls, fields: dict[str, str], info: ValidationInfo) -> dict[str, str]:
        _check_templates(fields, info)
        if not any("{body}" in text for text in (*fields.values(), info.data.get("url", "{body}"))):
            raise refused(
                "no field carries the text", 'a field with {body}, such as text = "{body}"'
            )
        return fields

    @field_validator("headers")
    @classmethod
    def _good_headers(cls, headers: dict[str, str], info: ValidationInfo) -> dict[str, str]:
        for name, text in headers.items():
            if _HEADER_NAME.fullmatch(name) is None:
                raise refused(f"{shown(name)} is not a header's name", "letters and hyphens")
            if not (text.isascii() and text.isprintable()):
                raise refused(f"{name} holds a character that no header can have", "plain ASCII")
        _check_templates(headers, info)
        return headers

    def settled(self, channel: str) -> Channel:
        """The settings of it."""
        return HttpChannel(
            id=channel,
            url=self.url,
            method=self.method,
            body=self.body,
            fields=dict(self.fields),
            headers=dict(self.headers),
            secrets={name: table.settled() for name, table in self.secrets.items()},
            connect_timeout_seconds=self.connect_timeout,
            answer_timeout_seconds=self.answer_timeout,
            give_up_after_seconds=self.give_up_after,
        )


class ConsoleTable(Section):
    """Texts printed where the service runs."""

    kind: Literal["console"]
    give_up_after: Duration = Field(
        default=1800.0, description='how long a text is tried, such as "30 min"'
    )

    def settled(self, channel: str) -> Channel:
        """The settings of it."""
        return ConsoleChannel(id=channel, give_up_after_seconds=self.give_up_after)


class FileTable(Section):
    """Texts appended to a file."""

    kind: Literal["file"]
    path: FilePath = Field(description='the file that texts go to, such as "texts.jsonl"')
    give_up_after: Duration = Field(
        default=1800.0, description='how long a text is tried, such as "30 min"'
    )

    def settled(self, channel: str) -> Channel:
        """The settings of it."""
        return FileChannel(id=channel, path=self.path, give_up_after_seconds=self.give_up_after)


class KindlessTable(Section):
    """A channel whose kind can't be read, so that no other key of it can be judged."""

    kind: Literal["http", "console", "file"] = Field(description="one of http, console, file")


ChannelTable = HttpTable | ConsoleTable | FileTable

_TABLES: dict[object, type[ChannelTable]] = {
    "http": HttpTable,
    "console": ConsoleTable,
    "file": FileTable,
}


def channel_table_for(raw: object) -> type[ChannelTable] | None:
    """The kind of table that a channel's kind asks for; None where it says none known."""
    kind = raw.get("kind") if isinstance(raw, dict) else None
    return _TABLES.get(kind) if isinstance(kind, str) else None


class PersonTable(Section):
    """Somebody who can be texted."""

    name: Line = Field(description='what texts call them, such as "Yard lead"')
    channel: Annotated[
        str,
        one_of(
            lambda known: frozenset(known.channels),
            "a channel of this file",
            none="a [channels.<name>] table",
        ),
    ] = Field(description="the name of a [channels.<name>] table")
    address: str = Field(
        default="", validate_default=True, description='their phone number, such as "+1 555 0140"'
    )

    @field_validator("address")
    @classmethod
    def _reachable(cls, address: str, info: ValidationInfo) -> str:
        channel = known_of(info).channels.get(info.data.get("channel", ""))
        if not isinstance(channel, dict) or channel.get("kind") != "http":
            return address
        if not address and "{address}" in str(channel):
            raise refused("is missing, and the channel sends to it")
        # A gateway may name people otherwise, a mailbox say; what looks like a number is one.
        return phone_number(address) if re.match(r"[+(\d]", address) else address

    def settled(self, person: str) -> Person:
        """The settings of it."""
        return Person(id=person, name=self.name, channel=self.channel, address=self.address)


def _check_templates(texts: Mapping[str, str], info: ValidationInfo) -> None:
    secrets: Mapping[str, Any] | None = info.data.get("secrets")
    for name, text in texts.items():
        placeholders = _PLACEHOLDER.findall(text)
        for placeholder in placeholders:
            _check_placeholder(placeholder, secrets)
        if _KEEPS_SECRETS.search(name) and not any(
            placeholder.startswith(_STORED_PREFIX) for placeholder in placeholders
        ):
            raise refused(
                f"{written_name(name)} seems to hold a secret in the clear",
                "{secret:NAME}, and NAME under [channels.<name>.secrets]",
            )


def _check_placeholder(placeholder: str, secrets: Mapping[str, Any] | None) -> None:
    if placeholder in _PLAIN_PLACEHOLDERS:
        return
    if not placeholder.startswith(_STORED_PREFIX):
        known = [*_PLAIN_PLACEHOLDERS, "secret:NAME"]
        raise refused(
            f"{shown('{' + placeholder + '}')} can't be filled in",
            not_among(placeholder, known, none=""),
        )
    name = placeholder.removeprefix(_STORED_PREFIX)
    if secrets is not None and name not in secrets:
        raise refused(
            f"{shown(name)} is not a secret of this channel",
            not_among(name, secrets, none="a secret of that name under [channels.<name>.secrets]"),
        )
